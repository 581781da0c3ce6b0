package board

import (
	"fmt"
	"math"
	"slices"
)

// The design rules, µm. Any board house of today keeps them for four layers.
const (
	Clearance     = 200 // copper to copper of another net
	TrackWidth    = 250 // least
	ViaDiameter   = 700
	ViaDrill      = 350
	AnnularRing   = 150  // least copper around a drilled hole
	HoleToHole    = 300  // edge to edge
	EdgeClearance = 500  // copper, and holes that are plated, to the edge
	HoleClearance = 350  // plane to a hole of another net
	ScrewKeepOut  = 3200 // from a screw's middle: its head is 6 mm wide
)

// A piece is some copper on the outer layers with its net.
type piece struct {
	index     int // among the pieces: pads, tracks, vias
	name, net string
	shape     Capsule
	layers    [2]bool // top, bottom
}

// pieces gives all copper of the outer layers.
func (b *Board) pieces() []piece {
	var all []piece
	for _, p := range b.Pads {
		all = append(all, piece{len(all), p.Name(), p.Net, p.Shape, [2]bool{true, true}})
	}
	for i, t := range b.Tracks {
		name := fmt.Sprintf("track %d of %s", i, t.Net)
		all = append(all, piece{len(all), name, t.Net, t.shape(), [2]bool{t.Layer == Top, t.Layer == Bottom}})
	}
	for i, v := range b.Vias {
		all = append(all, piece{len(all), fmt.Sprintf("via %d of %s", i, v.Net), v.Net, v.shape(), [2]bool{true, true}})
	}
	return all
}

// A drilled is a hole with what it belongs to.
type drilled struct {
	name     string
	at       Point
	diameter int
	plated   bool
}

func (b *Board) drills() []drilled {
	var all []drilled
	for _, p := range b.Pads {
		all = append(all, drilled{p.Name(), p.Shape.Centre(), p.Drill, true})
	}
	for i, v := range b.Vias {
		all = append(all, drilled{fmt.Sprintf("via %d of %s", i, v.Net), v.At, ViaDrill, true})
	}
	for i, h := range b.Holes {
		all = append(all, drilled{fmt.Sprintf("screw hole %d", i), h.At, h.Diameter, false})
	}
	return all
}

// Violations checks the design rules and names what breaks them.
func (b *Board) Violations() []string {
	return slices.Concat(b.copperViolations(), b.padViolations(), b.holeViolations(), b.bodyOverlaps(), b.jackViolations())
}

func (b *Board) copperViolations() []string {
	var broken []string
	report := func(format string, arguments ...any) { broken = append(broken, fmt.Sprintf(format, arguments...)) }
	pieces := b.pieces()
	near(pieces, func(p, q piece, gap float64) {
		if (p.net != q.net || p.net == "") && gap < Clearance {
			report("%s (%s) and %s (%s) are %.3f mm apart", p.name, p.net, q.name, q.net, gap/1000)
		}
	})
	for _, p := range pieces {
		if gap := b.gapToEdge(p.shape); gap < EdgeClearance {
			report("%s is %.3f mm from the edge", p.name, gap/1000)
		}
		for i, h := range b.Holes {
			if gap := p.shape.Gap(Capsule{h.At, h.At, ScrewKeepOut}); gap < 0 {
				report("%s is under the head of screw %d", p.name, i)
			}
		}
	}
	for i, t := range b.Tracks {
		if t.Width < TrackWidth {
			report("track %d of %s is %.3f mm wide", i, t.Net, float64(t.Width)/1000)
		}
		if t.Layer != Top && t.Layer != Bottom {
			report("track %d of %s is on a plane", i, t.Net)
		}
	}
	return broken
}

func (b *Board) padViolations() []string {
	var broken []string
	report := func(format string, arguments ...any) { broken = append(broken, fmt.Sprintf(format, arguments...)) }
	for _, p := range b.Pads {
		if 2*p.Shape.Radius-p.Drill < 2*AnnularRing {
			report("%s has too little copper around its hole", p.Name())
		}
		if b.OnPlane(p) {
			if count := len(b.spokes(p)); count < 2 {
				report("%s has %d spokes to its plane", p.Name(), count)
			}
		}
	}
	return broken
}

func (b *Board) holeViolations() []string {
	var broken []string
	drills := b.drills()
	for i, d := range drills {
		for _, e := range drills[:i] {
			gap := math.Hypot(float64(d.at.X-e.at.X), float64(d.at.Y-e.at.Y)) - float64(d.diameter+e.diameter)/2
			if gap < HoleToHole {
				broken = append(broken, fmt.Sprintf("the holes of %s and %s are %.3f mm apart", d.name, e.name, gap/1000))
			}
		}
	}
	return broken
}

// near calls f for all pieces that share a layer and are closer than 1 mm.
func near(pieces []piece, f func(p, q piece, gap float64)) {
	const cell = 2000 // µm
	grid := map[Point][]int{}
	for i, p := range pieces {
		r := p.shape.Bounds(1000)
		seen := map[int]bool{}
		for x := r.Min.X / cell; x <= r.Max.X/cell; x++ {
			for y := r.Min.Y / cell; y <= r.Max.Y/cell; y++ {
				at := Point{x, y}
				for _, j := range grid[at] {
					q := pieces[j]
					shared := p.layers[0] && q.layers[0] || p.layers[1] && q.layers[1]
					if !shared || seen[j] {
						continue
					}
					seen[j] = true
					if gap := p.shape.Gap(q.shape); gap < 1000 {
						f(p, q, gap)
					}
				}
				grid[at] = append(grid[at], i)
			}
		}
	}
}

// Bounds is the least rectangle around a capsule, with a margin in µm.
func (c Capsule) Bounds(margin int) Rect {
	m := c.Radius + margin
	return Rect{
		Point{min(c.A.X, c.B.X) - m, min(c.A.Y, c.B.Y) - m},
		Point{max(c.A.X, c.B.X) + m, max(c.A.Y, c.B.Y) + m},
	}
}

func (b *Board) gapToEdge(c Capsule) float64 {
	r := c.Bounds(0)
	return float64(min(r.Min.X, r.Min.Y, b.Size.X-r.Max.X, b.Size.Y-r.Max.Y))
}

// bodies gives the room that each part takes.
func (b *Board) bodies() (names []string, bodies []Rect) {
	for _, place := range b.Placements {
		for _, r := range b.shapes[place.Ref].Body {
			names, bodies = append(names, place.Ref), append(bodies, r.placed(place))
		}
	}
	return names, bodies
}

// bodyOverlaps names parts that are in each other's way or over the edge. The
// socket's lever and the microcontroller's jacks may be over the edge.
func (b *Board) bodyOverlaps() []string {
	var broken []string
	names, bodies := b.bodies()
	for i := range bodies {
		for j := range i {
			if names[i] != names[j] && bodies[i].overlaps(bodies[j]) {
				broken = append(broken, fmt.Sprintf("%s and %s are in each other's way", names[i], names[j]))
			}
		}
		for n, h := range b.Holes {
			head := Rect{Point{h.At.X - ScrewKeepOut, h.At.Y - ScrewKeepOut}, Point{h.At.X + ScrewKeepOut, h.At.Y + ScrewKeepOut}}
			if names[i] != "A1" && head.overlaps(bodies[i]) {
				broken = append(broken, fmt.Sprintf("%s is in the way of screw %d", names[i], n))
			}
		}
		r := bodies[i]
		if names[i] != "A1" && names[i] != "X1" && (r.Min.X < 0 || r.Min.Y < 0 || r.Max.X > b.Size.X || r.Max.Y > b.Size.Y) {
			broken = append(broken, names[i]+" stands over the edge")
		}
	}
	return broken
}

// OverJack reports whether a hole would lie over a jack of the microcontroller's board.
func (b *Board) OverJack(p Point) bool {
	for _, place := range b.Placements {
		for _, jack := range mcuJacks {
			room := jack.placed(place)
			if place.Ref == "A1" && room.overlaps(Rect{p, Point{p.X + 1, p.Y + 1}}) {
				return true
			}
		}
	}
	return false
}

// jackViolations names holes over the jacks of the microcontroller's board.
func (b *Board) jackViolations() []string {
	var broken []string
	for _, d := range b.drills() {
		if b.OverJack(d.at) {
			broken = append(broken, d.name+" is over a jack of the microcontroller's board")
		}
	}
	return broken
}
