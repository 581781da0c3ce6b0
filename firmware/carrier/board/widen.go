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
// their neighbours allow, piece by piece.
func (b *Board) Widen() {
	b.Tracks = b.inPieces()
	pieces := b.pieces()
	for i := range b.Tracks {
		t := &b.Tracks[i]
		at := len(b.Pads) + i
		for _, width := range b.widths(t.Net) {
			wide := *t
			wide.Width = width
			if width > t.Width && b.fits(wide.shape(), pieces[at], pieces) {
				*t = wide
				pieces[at].shape = wide.shape()
				break
			}
		}
	}
	b.Tracks = joinPieces(b.Tracks)
}

// widths gives the widths to try for a net, widest first; none for most.
func (b *Board) widths(net string) []int {
	if net == "SUPPLY" || net == "FUSED" {
		return supplyWidths
	}
	if slices.ContainsFunc(b.Pads, func(p Pad) bool { return p.Net == net && p.Ref[0] == 'Q' && p.Number == "1" }) {
		return socketWidths
	}
	return nil
}

// pieceLength is the longest piece that gets one width, along either axis, µm.
const pieceLength = 2032

// inPieces gives the tracks, those that may become wider cut into short pieces.
func (b *Board) inPieces() []Track {
	var pieces []Track
	for _, t := range b.Tracks {
		dx, dy := t.To.X-t.From.X, t.To.Y-t.From.Y
		if long := max(dx, -dx, dy, -dy); b.widths(t.Net) != nil && long > 0 {
			step := Point{dx * pieceLength / long, dy * pieceLength / long}
			for ; long > pieceLength; long -= pieceLength {
				piece := t
				piece.To = t.From.plus(step)
				t.From = piece.To
				pieces = append(pieces, piece)
			}
		}
		pieces = append(pieces, t)
	}
	return pieces
}

// joinPieces makes one track of successive pieces that differ in nothing but place.
func joinPieces(pieces []Track) []Track {
	var tracks []Track
	for _, t := range pieces {
		if len(tracks) > 0 {
			last := &tracks[len(tracks)-1]
			goesOn := last.Net == t.Net && last.Layer == t.Layer && last.Width == t.Width && last.To == t.From
			ahead := (last.To.X-last.From.X)*(t.To.X-t.From.X)+(last.To.Y-last.From.Y)*(t.To.Y-t.From.Y) > 0
			if goesOn && ahead && cross(last.From, last.To, t.To) == 0 {
				last.To = t.To
				continue
			}
		}
		tracks = append(tracks, t)
	}
	return tracks
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
