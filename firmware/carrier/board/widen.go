package board

import (
	"math"
	"slices"
)

// The widths to try, µm: widest first. What carries the chip's supply current gets
// the widest that the room allows: 1 mm of track is 0.5 milliohms a millimetre, a
// quarter of that at 0.25 mm (35 µm copper).
var (
	supplyWidths = []int{1500, 1200, 1000, 800, 600, 500, 400, 300}
	socketWidths = []int{800, 600, 500, 400, 300}
)

// Widen makes tracks of supplies and of socket positions with a switch as wide as
// their neighbours allow.
func (b *Board) Widen() {
	pieces := b.pieces()
	switched := map[string]bool{}
	for _, p := range b.Pads {
		if p.Ref[0] == 'Q' && p.Number == "1" {
			switched[p.Net] = true
		}
	}
	for i := range b.Tracks {
		t := &b.Tracks[i]
		var widths []int
		switch {
		case t.Net == "SUPPLY" || t.Net == "FUSED":
			widths = supplyWidths
		case switched[t.Net]:
			widths = socketWidths
		}
		at := len(b.Pads) + i
		for _, width := range widths {
			wide := *t
			wide.Width = width
			if width > t.Width && b.fits(wide.shape(), pieces[at], pieces) {
				*t = wide
				pieces[at].shape = wide.shape()
				break
			}
		}
	}
}

// fits reports whether a piece may have this shape.
func (b *Board) fits(shape Capsule, p piece, pieces []piece) bool {
	for _, h := range b.Holes {
		if shape.Gap(Capsule{h.At, h.At, ScrewKeepOut}) < 0 {
			return false
		}
	}
	return b.gapToEdge(shape) >= EdgeClearance && !slices.ContainsFunc(pieces, func(q piece) bool {
		if q.net == p.net && q.net != "" || !(p.layers[0] && q.layers[0] || p.layers[1] && q.layers[1]) {
			return false
		}
		far := float64(Clearance + shape.Radius + q.shape.Radius)
		c, d := shape.Centre(), q.shape.Centre()
		if math.Hypot(float64(c.X-d.X), float64(c.Y-d.Y)) > far+length(shape)+length(q.shape) {
			return false
		}
		return shape.Gap(q.shape) < Clearance
	})
}

// length is half of a capsule's, without its ends, µm.
func length(c Capsule) float64 {
	return math.Hypot(float64(c.B.X-c.A.X), float64(c.B.Y-c.A.Y)) / 2
}
