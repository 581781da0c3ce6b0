package sheet

import (
	"math"
	"strings"

	"chipassay/firmware/carrier"
	"chipassay/firmware/carrier/draw"
)

// A direction is where a part of two pins runs from its first pin.
type direction struct{ x, y float64 }

var (
	right = direction{1, 0}
	left  = direction{-1, 0}
	down  = direction{0, 1}
	up    = direction{0, -1}
)

// along gives the place so many mm from at in the direction, and so many to its side.
func (d direction) along(at draw.Point, far, side float64) draw.Point {
	return at.Plus(d.x*far-d.y*side, d.y*far+d.x*side)
}

const partLength = 14.0 // of a part of two pins, from end to end

// label writes reference and value beside a part of two pins: above it if it lies,
// to the right of it if it stands.
func (s *Sheet) label(ref string, d direction, at draw.Point, half float64) {
	p, middle := s.part(ref), d.along(at, partLength/2, 0)
	if d.y == 0 {
		s.text(middle.Plus(0, -half-0.8), plain, draw.Middle, ref+"  "+p.Value)
		return
	}
	s.text(middle.Plus(half+1, -0.5), plain, draw.Start, ref)
	s.text(middle.Plus(half+1, 2.6), plain, draw.Start, p.Value)
}

// two draws the leads of a part of two pins whose body is so long, and gives where its second pin ends.
func (s *Sheet) two(ref string, at draw.Point, d direction, body float64) draw.Point {
	lead := (partLength - body) / 2
	end := d.along(at, partLength, 0)
	s.Page.Line(line, at, d.along(at, lead, 0))
	s.Page.Line(line, d.along(at, partLength-lead, 0), end)
	s.pin(ref, "1", at)
	s.pin(ref, "2", end)
	return end
}

// box draws a rectangle along a direction.
func (s *Sheet) box(style draw.Style, at draw.Point, d direction, from, to, half float64) {
	s.Page.Area(style, d.along(at, from, -half), d.along(at, to, -half), d.along(at, to, half), d.along(at, from, half))
}

func (s *Sheet) resistor(ref string, at draw.Point, d direction) draw.Point {
	s.box(line, at, d, 3, 11, 1.4)
	s.label(ref, d, at, 1.4)
	return s.two(ref, at, d, 8)
}

// fuse is a resettable one: a resistor with the stroke of what depends on temperature.
func (s *Sheet) fuse(ref string, at draw.Point, d direction) draw.Point {
	s.box(line, at, d, 3, 11, 1.4)
	s.Page.Line(line, d.along(at, 2.4, 2.6), d.along(at, 4.4, 2.6), d.along(at, 10.5, -2.4))
	s.text(d.along(at, 7, 0).Plus(-6.4, 4.6), small, draw.Middle, "t°")
	middle := d.along(at, 7, 0)
	s.text(middle.Plus(0, -4), plain, draw.Middle, ref+"  "+s.part(ref).Value)
	return s.two(ref, at, d, 8)
}

func (s *Sheet) capacitor(ref string, at draw.Point, d direction) draw.Point {
	p := s.part(ref)
	s.Page.Line(line, d.along(at, 6.4, -2.6), d.along(at, 6.4, 2.6))
	s.Page.Line(line, d.along(at, 7.6, -2.6), d.along(at, 7.6, 2.6))
	if p.Pins[0].Name == "+" {
		s.text(d.along(at, 5.2, 2.2).Plus(0, 0.6), plain, draw.Middle, "+")
	}
	s.label(ref, d, at, 2.6)
	return s.two(ref, at, d, 1.2)
}

// lamp is an LED; its first pin is the cathode.
func (s *Sheet) lamp(ref string, at draw.Point, d direction) draw.Point {
	s.Page.Area(solid, d.along(at, 5.4, 0), d.along(at, 8.6, -2), d.along(at, 8.6, 2))
	s.Page.Line(line, d.along(at, 5.4, -2), d.along(at, 5.4, 2))
	for _, far := range []float64{6.2, 8.2} {
		from, to := d.along(at, far, 2.4), d.along(at, far-1.6, 4.8)
		s.Page.Line(line, from, to)
		s.Page.Circle(solid, to, 0.35)
	}
	s.text(d.along(at, 7, 0).Plus(0, 5), plain, draw.Middle, ref)
	s.text(d.along(at, 7, 0).Plus(0, 8), small, draw.Middle, s.part(ref).Value)
	return s.two(ref, at, d, 3.2)
}

func (s *Sheet) button(ref string, at draw.Point, d direction) draw.Point {
	a, b := d.along(at, 4, 0), d.along(at, 10, 0)
	s.Page.Line(line, d.along(at, 3.4, -1.8), d.along(at, 10.6, -1.8))
	s.Page.Line(line, d.along(at, 7, -1.8), d.along(at, 7, -4))
	s.Page.Circle(solid, a, 0.5)
	s.Page.Circle(solid, b, 0.5)
	s.text(d.along(at, 7, 0).Plus(0, -5.4), plain, draw.Middle, ref+"  "+s.part(ref).Value)
	return s.two(ref, at, d, 6)
}

// nmos draws an n-channel transistor whose gate ends at a place; it gives where
// drain and source end, 12 mm to the right, 8 mm above and below.
func (s *Sheet) nmos(ref string, gate draw.Point) (drain, source draw.Point) {
	drain, source = gate.Plus(12, -8), gate.Plus(12, 8)
	s.Page.Line(line, gate, gate.Plus(6, 0))
	s.Page.Line(line, gate.Plus(6, -3.4), gate.Plus(6, 3.4))
	for _, y := range []float64{-3, 0, 3} {
		s.Page.Line(line, gate.Plus(7.4, y-1.1), gate.Plus(7.4, y+1.1))
	}
	s.Page.Line(line, gate.Plus(7.4, -3), gate.Plus(12, -3), drain)
	s.Page.Line(line, gate.Plus(7.4, 3), gate.Plus(12, 3), source)
	s.Page.Line(line, gate.Plus(7.4, 0), gate.Plus(12, 0), gate.Plus(12, 3))
	s.Page.Area(solid, gate.Plus(7.6, 0), gate.Plus(9.6, -1), gate.Plus(9.6, 1))
	s.Page.Line(line, gate.Plus(12, -3), gate.Plus(15, -3), gate.Plus(15, 3), gate.Plus(12, 3)) // the body diode
	s.Page.Area(solid, gate.Plus(15, -0.9), gate.Plus(14, 0.9), gate.Plus(16, 0.9))
	s.Page.Line(line, gate.Plus(14, -0.9), gate.Plus(16, -0.9))
	s.terminals(ref, map[string]terminal{
		"G": {gate, gate.Plus(2.5, -0.6), draw.Middle}, "D": {drain, drain.Plus(-0.6, 2.6), draw.End}, "S": {source, source.Plus(-0.6, -1), draw.End},
	})
	s.text(gate.Plus(16.8, 4.8), plain, draw.Start, ref)
	return drain, source
}

// pnp draws a PNP transistor whose base ends at a place; it gives where emitter
// and collector end, 10 mm to the right, 8 mm above and below.
func (s *Sheet) pnp(ref string, base draw.Point) (emitter, collector draw.Point) {
	emitter, collector = base.Plus(10, -8), base.Plus(10, 8)
	s.Page.Line(line, base, base.Plus(6, 0))
	s.Page.Line(draw.Style{Stroke: "#000000", Width: 0.7}, base.Plus(6, -3), base.Plus(6, 3))
	s.Page.Line(line, base.Plus(6, -1), base.Plus(10, -4), emitter)
	s.Page.Line(line, base.Plus(6, 1), base.Plus(10, 4), collector)
	s.Page.Area(solid, base.Plus(6.5, -1.4), base.Plus(8.7, -1.7), base.Plus(7.6, -3.4)) // the arrow points to the base
	s.Page.Circle(line, base.Plus(8, 0), 5)
	s.terminals(ref, map[string]terminal{
		"B": {base, base.Plus(1.4, -0.6), draw.Middle}, "E": {emitter, emitter.Plus(-0.6, 2), draw.End}, "C": {collector, collector.Plus(-0.6, -0.4), draw.End},
	})
	s.text(base.Plus(14, -0.4), plain, draw.Start, ref)
	return emitter, collector
}

// terminal is where a pin ends and where its number stands.
type terminal struct {
	at, label draw.Point
	anchor    draw.Anchor
}

func (s *Sheet) terminals(ref string, where map[string]terminal) {
	for _, pin := range s.part(ref).Pins {
		t, drawn := where[pin.Name]
		if !drawn {
			continue
		}
		s.pin(ref, pin.Number, t.at)
		s.text(t.label, small, t.anchor, pin.Number)
	}
}

// zener draws the shunt reference as the Zener diode that it stands for; its
// cathode ends at a place, its anode 14 mm below.
func (s *Sheet) zener(ref string, cathode draw.Point) (anode draw.Point) {
	anode = cathode.Plus(0, partLength)
	s.Page.Line(line, cathode, cathode.Plus(0, 5.2))
	s.Page.Line(line, cathode.Plus(0, 8.8), anode)
	s.Page.Area(line, cathode.Plus(-2, 8.8), cathode.Plus(2, 8.8), cathode.Plus(0, 5.2))
	s.Page.Line(line, cathode.Plus(-2.6, 6.2), cathode.Plus(-2, 5.2), cathode.Plus(2, 5.2), cathode.Plus(2.6, 4.2))
	unused := cathode.Plus(-7, 7) // the package's third pin
	s.open(unused)
	s.Page.Line(line, unused, unused.Plus(2, 0))
	s.hint(unused.Plus(-1.6, 0.7), draw.End, "NC")
	s.terminals(ref, map[string]terminal{
		"NC": {unused, unused.Plus(1.4, -0.8), draw.Start},
		"K":  {cathode, cathode.Plus(-0.6, 3), draw.End}, "A": {anode, anode.Plus(-0.6, -1.4), draw.End},
	})
	s.text(cathode.Plus(4, 6.4), plain, draw.Start, ref)
	s.text(cathode.Plus(4, 9.6), plain, draw.Start, s.part(ref).Value)
	return anode
}

// side is a row of pins of an integrated circuit, by their names, or by their
// numbers after a #; "" leaves a gap.
type side []string

// circuit draws an integrated circuit, module or header as a box: names within,
// numbers at the leads. It gives where each pin ends, by its name.
func (s *Sheet) circuit(ref string, at draw.Point, wide, pitch float64, lefts, rights, tops, bottoms side) map[string]draw.Point {
	p := s.part(ref)
	tall := pitch * float64(max(len(lefts), len(rights)))
	s.Page.Box(paper, at, wide, tall)
	ends := map[string]draw.Point{}
	lead := 6.0
	for _, pin := range p.Pins {
		lead = max(lead, draw.Text{Size: small, Words: pin.Number}.Length()+1.6)
	}
	put := func(name string, edge draw.Point, d direction) {
		pin := find(p, name)
		end := d.along(edge, math.Ceil(lead), 0)
		s.Page.Line(line, edge, end)
		s.pin(ref, pin.Number, end)
		ends[name] = end
		s.pinText(pin, edge, d)
	}
	for i, name := range lefts {
		if name != "" {
			put(name, at.Plus(0, pitch*(float64(i)+0.5)), left)
		}
	}
	for i, name := range rights {
		if name != "" {
			put(name, at.Plus(wide, pitch*(float64(i)+0.5)), right)
		}
	}
	for i, name := range tops {
		put(name, at.Plus(wide*(float64(i)+0.5)/float64(len(tops)), 0), up)
	}
	for i, name := range bottoms {
		put(name, at.Plus(wide*(float64(i)+0.5)/float64(len(bottoms)), tall), down)
	}
	return ends
}

// find gives the pin of a name, or of a number if a # stands before it.
func find(p *carrier.Part, name string) *carrier.Pin {
	number, numbered := strings.CutPrefix(name, "#")
	for i := range p.Pins {
		if numbered && p.Pins[i].Number == number || !numbered && p.Pins[i].Name == name {
			return &p.Pins[i]
		}
	}
	panic("sheet: " + p.Ref + " has no pin " + name)
}

// pinText writes a pin's name within the box and its number at its lead.
func (s *Sheet) pinText(pin *carrier.Pin, edge draw.Point, d direction) {
	switch d {
	case left:
		s.text(edge.Plus(1.2, 0.8), plain, draw.Start, pin.Name)
		s.text(edge.Plus(-0.8, -0.6), small, draw.End, pin.Number)
	case right:
		s.text(edge.Plus(-1.2, 0.8), plain, draw.End, pin.Name)
		s.text(edge.Plus(0.8, -0.6), small, draw.Start, pin.Number)
	case up:
		s.text(edge.Plus(0, 3), plain, draw.Middle, pin.Name)
		s.text(edge.Plus(0.6, -1), small, draw.Start, pin.Number)
	case down:
		s.text(edge.Plus(0, -1.2), plain, draw.Middle, pin.Name)
		s.text(edge.Plus(0.6, 2.6), small, draw.Start, pin.Number)
	}
}

// caption writes a part's reference and value above its box.
func (s *Sheet) caption(ref string, at draw.Point, anchor draw.Anchor) {
	s.Page.Text(draw.Text{At: at, Size: plain + 0.3, Bold: true, Anchor: anchor, Words: ref + "  " + s.part(ref).Value})
}
