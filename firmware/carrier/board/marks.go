package board

// A mark is something drawn on a layer: copper, mask opening or silk. Marks are
// drawn in order; a clear one takes away what is below.
type mark struct {
	clear bool
	flash bool    // a pad, not a line
	shape Capsule // unless there is an outline
	area  []Point // outline of a filled area
}

const (
	planeGap   = 400 // µm around a zone that lies in another
	thermalGap = 300 // µm around a pad that is on the plane, but for its spokes
	spokeWidth = 500
	maskMargin = 60 // µm: the opening is larger than the pad
	silkWidth  = 150
	silkMargin = 150 // silk keeps from openings
	screwPlane = 500 // plane to a screw's hole
)

func disc(at Point, diameter int) Capsule { return Capsule{at, at, diameter / 2} }

// copper gives the marks of a layer of copper.
func (b *Board) copper(l Layer) []mark {
	if l == Inner1 || l == Inner2 {
		return b.plane(l)
	}
	var marks []mark
	for _, p := range b.Pads {
		marks = append(marks, mark{flash: true, shape: p.Shape})
	}
	for _, v := range b.Vias {
		marks = append(marks, mark{flash: true, shape: v.shape()})
	}
	for _, t := range b.Tracks {
		if t.Layer == l {
			marks = append(marks, mark{shape: t.shape()})
		}
	}
	return marks
}

// plane gives the marks of a layer that is filled: the zones, then the room around
// what must not touch them, then the pads that do and their spokes.
func (b *Board) plane(l Layer) []mark {
	var marks []mark
	first := true
	for _, z := range b.Zones {
		if z.Layer != l {
			continue
		}
		if !first {
			marks = append(marks, mark{clear: true, area: z.Outline})
			for i, p := range z.Outline {
				marks = append(marks, mark{clear: true, shape: Capsule{p, z.Outline[(i+1)%len(z.Outline)], planeGap}})
			}
		}
		first = false
		marks = append(marks, mark{area: z.Outline})
	}
	for _, h := range b.Holes {
		marks = append(marks, mark{clear: true, flash: true, shape: disc(h.At, h.Diameter+2*screwPlane)})
	}
	for _, v := range b.Vias {
		marks = append(marks, mark{clear: true, flash: true, shape: disc(v.At, ViaDrill+2*HoleClearance)})
	}
	var joined []mark
	for _, p := range b.Pads {
		at := p.Shape.Centre()
		if z := b.zoneOf(p); z < 0 || b.Zones[z].Layer != l {
			marks = append(marks, mark{clear: true, flash: true, shape: disc(at, p.Drill+2*HoleClearance)})
			continue
		}
		ring := 2 * p.Shape.Radius
		marks = append(marks, mark{clear: true, flash: true, shape: disc(at, ring+2*thermalGap)})
		joined = append(joined, mark{flash: true, shape: disc(at, ring)})
		for _, spoke := range b.spokes(p) {
			joined = append(joined, mark{shape: spoke})
		}
	}
	return append(marks, joined...)
}

// spokes gives the copper that joins a pad to its plane, so thin that the pad can
// be soldered: up to four, but none that comes near another net's hole or zone.
func (b *Board) spokes(p Pad) []Capsule {
	var spokes []Capsule
	at, zone := p.Shape.Centre(), b.zoneOf(p)
	reach := p.Shape.Radius + thermalGap + spokeWidth/2
	for _, way := range []Point{{reach, 0}, {0, reach}, {-reach, 0}, {0, -reach}} {
		spoke := Capsule{at, at.plus(way), spokeWidth / 2}
		if b.spokeIsClear(spoke, p.Net, zone) {
			spokes = append(spokes, spoke)
		}
	}
	return spokes
}

func (b *Board) spokeIsClear(spoke Capsule, net string, zone int) bool {
	for _, z := range b.Zones {
		for i, p := range z.Outline {
			side := Capsule{p, z.Outline[(i+1)%len(z.Outline)], planeGap}
			if z.Layer == b.Zones[zone].Layer && spoke.Gap(side) < planeGap {
				return false
			}
		}
	}
	for _, v := range b.Vias {
		if spoke.Gap(disc(v.At, ViaDrill)) < HoleClearance {
			return false
		}
	}
	for _, q := range b.Pads {
		joined := q.Net == net && b.zoneOf(q) == zone
		if !joined && spoke.Gap(disc(q.Shape.Centre(), q.Drill)) < HoleClearance {
			return false
		}
	}
	return true
}

// mask gives the openings of the solder mask, the same on both sides. Vias stay covered.
func (b *Board) mask() []mark {
	var marks []mark
	for _, p := range b.Pads {
		marks = append(marks, mark{flash: true, shape: Capsule{p.Shape.A, p.Shape.B, p.Shape.Radius + maskMargin}})
	}
	for _, h := range b.Holes {
		marks = append(marks, mark{flash: true, shape: disc(h.At, h.Diameter)})
	}
	return marks
}
