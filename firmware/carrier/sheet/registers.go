package sheet

import (
	"fmt"
	"strings"

	"chipassay/firmware/carrier"
	"chipassay/firmware/carrier/draw"
)

// pull is one of the two sorts of resistors behind registers.
type pull struct {
	prefix   string // of its resistors
	link     string // at the end of its chain
	backward string // its read-back resistor
	enable   string // the resistor that holds its enable
	words    string
}

var (
	bias = pull{"R3", "JP2", "R821", "R812", "far half"}
	load = pull{"R4", "JP3", "R822", "R813", "far half"}
)

const registerPitch = 7.6

var outputNames = strings.Fields("QA QB QC QD QE QF QG QH")

// register draws a 74HC595 with its capacitor and its control lines, and gives where its pins end.
func (s *Sheet) register(ref string, at draw.Point) map[string]draw.Point {
	s.caption(ref, at.Plus(-14, -2), draw.Middle)
	ends := s.circuit(ref, at, 24, registerPitch, side{"SER", "SRCLK", "RCLK", "/OE", "/SRCLR"},
		append(append(side{}, outputNames...), "QH'"), side{"VCC"}, side{"GND"})
	p := s.part(ref)
	s.supply(p.Net("VCC"), ends["VCC"])
	s.ground(ends["GND"])
	for _, name := range []string{"SRCLK", "RCLK", "/OE", "/SRCLR"} {
		s.flag(p.Net(name), ends[name], false)
	}
	c := "C" + ref[1:]
	top := at.Plus(-22, 8*registerPitch-4)
	s.supply(s.net(c, "1"), top)
	s.ground(s.capacitor(c, top, down))
	return ends
}

// registers is two registers of a chain with their resistors, and the chain's end if it ends here.
func registers(s *Sheet, kind pull, refs ...string) *Sheet {
	var ends [2]map[string]draw.Point
	for i, ref := range refs {
		ends[i] = s.register(ref, draw.Point{X: 50 + 138*float64(i), Y: 26})
		s.pulls(ref, kind, ends[i])
	}
	in, out := s.part(refs[0]).Net("SER"), s.part(refs[1]).Net("QH'")
	s.flag(in, ends[0]["SER"], false)
	from, to := ends[0]["QH'"], ends[1]["SER"]
	s.wire(from, draw.Point{X: 146, Y: from.Y}, draw.Point{X: 146, Y: to.Y}, to)
	s.name(s.part(refs[0]).Net("QH'"), from.Plus(30, 0))
	last := ends[1]["QH'"]
	if s.Group == carrier.FarHalf {
		s.flag(out, last, true)
		return s
	}
	s.chainEnd(kind, last, draw.Point{X: 196, Y: 132})
	top := draw.Point{X: 60, Y: 130}
	s.supply(s.net(kind.enable, "1"), top)
	s.flag(s.net(kind.enable, "2"), s.resistor(kind.enable, top, down), true)
	s.hint(top.Plus(-1, 22), draw.Start, "off at reset: 1 at the enable")
	return s
}

// pulls draws the resistors at a register's outputs.
func (s *Sheet) pulls(ref string, kind pull, ends map[string]draw.Point) {
	for _, name := range outputNames {
		net := s.part(ref).Net(name)
		if net == "" {
			s.open(ends[name])
			continue
		}
		r := s.resistorOn(net, kind.prefix)
		at := ends[name].Plus(22, 0)
		s.wire(ends[name], at)
		s.name(net, ends[name].Plus(11, 0))
		s.flag(s.net(r, "2"), s.resistor(r, at, right), true)
	}
}

// resistorOn gives the resistor whose first pin is on a net and whose reference begins so.
func (s *Sheet) resistorOn(net, prefix string) string {
	for _, t := range s.netlist.Terminals(net) {
		if strings.HasPrefix(t.Part.Ref, prefix) && t.Pin.Number == "1" {
			return t.Part.Ref
		}
	}
	panic("sheet: no " + prefix + " at " + net)
}

// chainEnd is the link that closes a chain at its first or its last register, and
// the resistor through which it is read back.
func (s *Sheet) chainEnd(kind pull, from, at draw.Point) {
	ends := s.jumper(kind.link, at)
	s.wire(from, draw.Point{X: from.X + 4, Y: from.Y}, draw.Point{X: from.X + 4, Y: at.Y - 8}, draw.Point{X: at.X - 14, Y: at.Y - 8},
		draw.Point{X: at.X - 14, Y: ends[0].Y}, ends[0])
	s.name(s.net(kind.link, "1"), draw.Point{X: (from.X + at.X - 10) / 2, Y: at.Y - 8})
	s.flag(s.net(kind.link, "3"), ends[2], false)
	s.hint(at.Plus(-14, 21), draw.Start, "1-2: the chain ends here; 2-3: with the "+kind.words)
	if kind.backward == "" {
		s.flag(s.net(kind.link, "2"), ends[1], true)
		return
	}
	start := ends[1].Plus(22, 0)
	s.wire(ends[1], start)
	s.name(s.net(kind.link, "2"), ends[1].Plus(11, 0))
	s.flag(s.net(kind.backward, "2"), s.resistor(kind.backward, start, right), true)
}

// jumper draws three pins with a jumper, the outer ones to the left, the middle one to the right.
func (s *Sheet) jumper(ref string, at draw.Point) [3]draw.Point {
	s.Page.Text(draw.Text{At: at.Plus(0, -2), Size: plain + 0.3, Bold: true, Words: ref})
	s.Page.Box(paper, at, 10, 15)
	ends := [3]draw.Point{at.Plus(-6, 2.5), at.Plus(16, 7.5), at.Plus(-6, 12.5)}
	for i, p := range s.part(ref).Pins {
		inner := at.Plus(5, 2.5+5*float64(i))
		s.Page.Circle(line, inner, 0.9)
		edge := inner.Plus(-0.9, 0)
		if i == 1 {
			edge = inner.Plus(0.9, 0)
		}
		s.Page.Line(line, edge, ends[i])
		s.pin(ref, p.Number, ends[i])
		number := draw.Point{X: at.X - 1, Y: ends[i].Y - 0.6}
		anchor := draw.End
		if i == 1 {
			number.X, anchor = at.X+11, draw.Start
		}
		s.text(number, small, anchor, p.Number)
	}
	return ends
}

// farDrive adds the far half's drive resistors below the registers.
func farDrive(s *Sheet) *Sheet {
	for i, l := range carrier.Lanes()[8:14] {
		s.driveRow(l, draw.Point{X: 50, Y: 124 + 9*float64(i)})
	}
	for i, l := range carrier.Lanes()[22:28] {
		s.driveRow(l, draw.Point{X: 188, Y: 124 + 9*float64(i)})
	}
	return s
}

func (s *Sheet) driveRow(l carrier.Lane, at draw.Point) {
	ref := fmt.Sprintf("R1%02d", l.Position)
	s.flag(s.net(ref, "1"), at, false)
	s.flag(s.net(ref, "2"), s.resistor(ref, at, right), true)
}
