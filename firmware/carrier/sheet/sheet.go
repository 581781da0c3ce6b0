// Package sheet draws the carrier's schematic as people draw one: a few sheets for
// each group, signals from left to right where possible, names on nets, values beside
// parts.
//
// A sheet keeps apart what it draws (where each pin ends, each wire runs and each
// net's name is) and how it looks. The tests read the connections back from these
// places alone, as a person does with a finger, and compare them with the netlist.
package sheet

import (
	"fmt"
	"slices"
	"strings"

	"chipassay/firmware/carrier"
	"chipassay/firmware/carrier/draw"
)

// A4 across, with a strip for the title along the lower edge.
const (
	width, height = 297.0, 210.0
	margin        = 8.0
	titleHeight   = 13.0
)

// Sizes of letters, mm.
const (
	plain = 2.5 // references, values, nets
	small = 2.0 // pin numbers, hints
	large = 3.6 // titles
)

var (
	line  = draw.Style{Stroke: "#000000", Width: 0.35} // outlines of parts
	wire  = draw.Style{Stroke: "#00519e", Width: 0.25}
	solid = draw.Style{Stroke: "#000000", Width: 0.2, Fill: "#000000"}
	flag  = draw.Style{Stroke: "#00519e", Width: 0.2, Fill: "#eef4fb"}
	paper = draw.Style{Stroke: "#000000", Width: 0.35, Fill: "#fffdf3"} // integrated circuits and modules
)

const (
	netColour  = "#00407c"
	hintColour = "#555555"
)

// A Sheet is one page of the schematic.
type Sheet struct {
	Name  string // of the file, without its ending
	Group carrier.Group
	Title string
	Page  *draw.Page

	netlist *carrier.Netlist
	pins    []pinEnd
	wires   [][2]draw.Point // each runs across or down
	names   []netName
	flags   []netName // those that lead to other sheets
}

// pinEnd is where a pin of a part ends.
type pinEnd struct {
	ref, number string
	at          draw.Point
}

// netName is a net's name at a pin's or a wire's place.
type netName struct {
	net   string
	at    draw.Point
	right bool // a flag that reaches to the right
}

func newSheet(n *carrier.Netlist, group carrier.Group, name, title string) *Sheet {
	return &Sheet{Name: name, Group: group, Title: title, netlist: n, Page: &draw.Page{Title: title, Width: width, Height: height}}
}

// part gives a part that must be there: a sheet is drawn for this netlist.
func (s *Sheet) part(ref string) *carrier.Part {
	p := s.netlist.Part(ref)
	if p == nil {
		panic("sheet: the netlist has no " + ref)
	}
	return p
}

// net gives the net of a part's pin, by its number.
func (s *Sheet) net(ref, number string) string {
	for _, pin := range s.part(ref).Pins {
		if pin.Number == number {
			return pin.Net
		}
	}
	panic("sheet: " + ref + " has no pin " + number)
}

func (s *Sheet) pin(ref, number string, at draw.Point) {
	s.pins = append(s.pins, pinEnd{ref, number, at})
}

// wire draws a wire through points; every two that follow each other lie beside or above one another.
func (s *Sheet) wire(points ...draw.Point) {
	s.Page.Line(wire, points...)
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		if a.X != b.X && a.Y != b.Y {
			panic(fmt.Sprintf("sheet: a wire aslant from %v to %v", a, b))
		}
		if a != b {
			s.wires = append(s.wires, [2]draw.Point{a, b})
		}
	}
}

func (s *Sheet) text(at draw.Point, size float64, anchor draw.Anchor, words string) {
	s.Page.Text(draw.Text{At: at, Size: size, Anchor: anchor, Words: words})
}

func (s *Sheet) hint(at draw.Point, anchor draw.Anchor, words string) {
	s.Page.Text(draw.Text{At: at, Size: small, Anchor: anchor, Colour: hintColour, Words: words})
}

// name writes a net's name above a place on a wire.
func (s *Sheet) name(net string, at draw.Point) {
	s.names = append(s.names, netName{net: net, at: at})
	s.Page.Text(draw.Text{At: at.Plus(0, -0.7), Size: small, Anchor: draw.Middle, Colour: netColour, Words: net})
}

// nameBelow writes a net's name below a place on a wire.
func (s *Sheet) nameBelow(net string, at draw.Point) {
	s.names = append(s.names, netName{net: net, at: at})
	s.Page.Text(draw.Text{At: at.Plus(0, 2.6), Size: small, Anchor: draw.Middle, Colour: netColour, Words: net})
}

// flag writes a net's name into a flag at the end of a wire. Wires to all flags of a
// name are joined, on whatever sheet.
func (s *Sheet) flag(net string, at draw.Point, right bool) {
	s.names = append(s.names, netName{net: net, at: at, right: right})
	s.flags = append(s.flags, netName{net: net, at: at, right: right})
	t := draw.Text{At: at.Plus(2.2, 0.85), Size: plain, Colour: netColour, Words: net}
	end := 3.6 + t.Length()
	if !right {
		end, t.Anchor, t.At = -end, draw.End, at.Plus(-2.2, 0.85)
	}
	tip := 1.6
	if !right {
		tip = -tip
	}
	s.Page.Area(flag, at, at.Plus(tip, -1.7), at.Plus(end, -1.7), at.Plus(end, 1.7), at.Plus(tip, 1.7))
	s.Page.Text(t)
}

// ground draws the sign of ground below a place.
func (s *Sheet) ground(at draw.Point) {
	s.names = append(s.names, netName{net: "GND", at: at})
	s.Page.Line(line, at, at.Plus(0, 2))
	for i, half := range []float64{2.2, 1.4, 0.6} {
		y := 2 + 0.8*float64(i)
		s.Page.Line(line, at.Plus(-half, y), at.Plus(half, y))
	}
}

// supply draws the sign of a supply above a place.
func (s *Sheet) supply(net string, at draw.Point) {
	s.names = append(s.names, netName{net: net, at: at})
	s.Page.Line(line, at, at.Plus(0, -2))
	s.Page.Line(line, at.Plus(-1.8, -2), at.Plus(1.8, -2))
	s.Page.Text(draw.Text{At: at.Plus(0, -2.8), Size: plain, Anchor: draw.Middle, Colour: netColour, Words: net})
}

// open marks a pin that stays open.
func (s *Sheet) open(at draw.Point) {
	s.Page.Line(line, at.Plus(-0.9, -0.9), at.Plus(0.9, 0.9))
	s.Page.Line(line, at.Plus(-0.9, 0.9), at.Plus(0.9, -0.9))
}

// finish draws the dots where wires join, the frame and the title.
func (s *Sheet) finish(number, of int, elsewhere func(net string) []int) {
	for _, at := range s.joints() {
		s.Page.Circle(solid, at, 0.6)
	}
	for _, f := range s.flags {
		s.reference(f, elsewhere(f.net))
	}
	s.Page.Box(draw.Style{Stroke: "#000000", Width: 0.5}, draw.Point{X: margin, Y: margin}, width-2*margin, height-2*margin)
	s.title(number, of)
}

// reference writes the numbers of the other sheets that a net leads to behind its flag.
func (s *Sheet) reference(f netName, sheets []int) {
	if len(sheets) == 0 {
		return
	}
	words := strings.Trim(strings.ReplaceAll(fmt.Sprint(sheets), " ", ","), "[]")
	at := draw.Text{Size: plain, Words: f.net}.Length() + 4.2
	if f.right {
		s.hint(f.at.Plus(at, 0.7), draw.Start, words)
	} else {
		s.hint(f.at.Plus(-at, 0.7), draw.End, words)
	}
}

// joints are the places where three or more ends meet, or an end meets a wire's middle.
func (s *Sheet) joints() []draw.Point {
	ends := map[draw.Point]int{}
	var order []draw.Point
	add := func(at draw.Point) {
		if ends[at] == 0 {
			order = append(order, at)
		}
		ends[at]++
	}
	for _, w := range s.wires {
		add(w[0])
		add(w[1])
	}
	for _, p := range s.pins {
		add(p.at)
	}
	var joints []draw.Point
	for _, at := range order {
		through := slices.ContainsFunc(s.wires, func(w [2]draw.Point) bool { return at != w[0] && at != w[1] && on(at, w) })
		if ends[at] >= 3 || through {
			joints = append(joints, at)
		}
	}
	return joints
}

// on reports whether a place is on a wire, its ends included.
func on(at draw.Point, w [2]draw.Point) bool {
	return at.X >= min(w[0].X, w[1].X) && at.X <= max(w[0].X, w[1].X) && at.Y >= min(w[0].Y, w[1].Y) && at.Y <= max(w[0].Y, w[1].Y)
}

// title fills the strip along the lower edge.
func (s *Sheet) title(number, of int) {
	top := height - margin - titleHeight
	bottom := top + titleHeight
	for _, x := range []float64{62, 132, width - margin - 22} {
		s.Page.Line(line, draw.Point{X: x, Y: top}, draw.Point{X: x, Y: bottom})
	}
	s.Page.Line(line, draw.Point{X: margin, Y: top}, draw.Point{X: width - margin, Y: top})
	put := func(x, y, size float64, bold bool, words string) {
		s.Page.Text(draw.Text{At: draw.Point{X: x, Y: top + y}, Size: size, Bold: bold, Words: words})
	}
	put(margin+2, 5.4, large, true, "chipassay")
	put(margin+2, 10, plain, false, "adapter, revision B: carrier")
	put(64, 5.4, large, true, s.Title)
	put(64, 10, plain, false, "group: "+s.Group.String())
	for i, row := range wrap("Parts: "+strings.Join(ranges(s.refs()), " "), small, width-margin-22-132-4) {
		put(134, 3.6+2.8*float64(i), small, false, row)
	}
	put(width-margin-20, 5, small, false, "sheet")
	put(width-margin-20, 10.4, large, true, fmt.Sprintf("%d of %d", number, of))
}

// refs gives the references of the parts on the sheet, each once.
func (s *Sheet) refs() []string {
	var refs []string
	for _, p := range s.pins {
		if !slices.Contains(refs, p.ref) {
			refs = append(refs, p.ref)
		}
	}
	return refs
}
