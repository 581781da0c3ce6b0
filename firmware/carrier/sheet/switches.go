package sheet

import (
	"fmt"

	"chipassay/firmware/carrier"
	"chipassay/firmware/carrier/draw"
)

// lowSide is the starter's register of the low side with its two transistors.
func lowSide(s *Sheet) *Sheet {
	at := draw.Point{X: 60, Y: 44}
	ends := s.register("U11", at)
	p := s.part("U11")
	s.flag(p.Net("SER"), ends["SER"], false)
	for _, name := range outputNames {
		net := p.Net(name)
		l, here := s.switchOn(net)
		if !here {
			s.flag(net, ends[name], true)
			continue
		}
		gate := draw.Point{X: 150, Y: ends[name].Y}
		if l.Position == 7 { // up, out of the way of the next
			gate = gate.Plus(40, -22)
		}
		bend := ends[name].Plus(30, 0)
		s.wire(ends[name], bend, draw.Point{X: bend.X, Y: gate.Y}, gate.Plus(-2, 0), gate)
		s.name(net, ends[name].Plus(14, 0))
		s.lowSwitch(l, gate)
	}
	s.chainEnd(pull{link: "JP1", words: "other switches"}, ends["QH'"], draw.Point{X: 150, Y: 140})
	top := draw.Point{X: 60, Y: 146}
	s.supply(s.net("R811", "1"), top)
	s.flag(s.net("R811", "2"), s.resistor("R811", top, down), true)
	s.hint(top.Plus(-1, 22), draw.Start, "off at reset: 1 at the enable")
	return s
}

// switchOn gives the lane whose gate is on a net, if its transistor is on the starter's sheet.
func (s *Sheet) switchOn(net string) (carrier.Lane, bool) {
	for _, l := range carrier.Lanes() {
		if l.Low != "" && l.GateNet() == net {
			return l, s.part(fmt.Sprintf("Q1%02d", l.Position)).Group == s.Group
		}
	}
	return carrier.Lane{}, false
}

// lowSwitch draws a low-side transistor whose gate ends at a place, with what belongs to it.
func (s *Sheet) lowSwitch(l carrier.Lane, gate draw.Point) {
	q, r := fmt.Sprintf("Q1%02d", l.Position), fmt.Sprintf("R5%02d", l.Position)
	drain, source := s.nmos(q, gate)
	s.flag(l.Name, drain, true)
	s.ground(source)
	top := gate.Plus(-2, 0)
	s.ground(s.resistor(r, top, down))
}

// moreLowSide is the second register of the low side, and all transistors that the starter has not.
func moreLowSide(s *Sheet) *Sheet {
	ends := s.register("U12", draw.Point{X: 50, Y: 34})
	p := s.part("U12")
	s.flag(p.Net("SER"), ends["SER"], false)
	s.flag(p.Net("QH'"), ends["QH'"], true)
	for _, name := range outputNames {
		if net := p.Net(name); net != "" {
			s.flag(net, ends[name], true)
		} else {
			s.open(ends[name])
		}
	}
	i := 0
	for position := 1; position <= 28; position++ {
		l := carrier.LaneAt(position)
		if l.Low == "" || s.part(fmt.Sprintf("Q1%02d", position)).Group != s.Group {
			continue
		}
		gate := draw.Point{X: 120 + 44*float64(i%4), Y: 32 + 54*float64(i/4)}
		s.flag(l.GateNet(), gate.Plus(-6, 0), false)
		s.wire(gate.Plus(-6, 0), gate.Plus(-2, 0), gate)
		s.lowSwitch(l, gate)
		i++
	}
	s.hint(draw.Point{X: 14, Y: 150}, draw.Start, "All are "+s.part("Q101").Value+", "+s.part("Q101").Rating+".")
	s.hint(draw.Point{X: 14, Y: 153.2}, draw.Start, "1 drain, 2 gate, 3 source: compare with the data sheet of yours.")
	return s
}

// highSwitch draws a high-side transistor with what belongs to it. Its base resistor begins at a place.
func (s *Sheet) highSwitch(l carrier.Lane, at draw.Point) {
	name := func(prefix string) string { return fmt.Sprintf("%s%02d", prefix, l.Position) }
	s.flag(l.High, at, false)
	end := s.resistor(name("R6"), at, right)
	base := end.Plus(10, 0)
	node := end.Plus(4, 0)
	s.wire(end, node, base)
	s.nameBelow(l.BaseNet(), node)
	emitter, collector := s.pnp(name("Q2"), base)
	rail := at.Y - 22
	top := draw.Point{X: node.X, Y: rail}
	s.wire(s.resistor(name("R7"), top, down), node)
	s.wire(emitter, draw.Point{X: emitter.X, Y: rail})
	c1, c2 := draw.Point{X: emitter.X + 14, Y: rail}, draw.Point{X: emitter.X + 32, Y: rail}
	s.wire(top, draw.Point{X: emitter.X, Y: rail}, c1, c2)
	s.supply(s.part(name("Q2")).Net("E"), draw.Point{X: emitter.X, Y: rail})
	s.ground(s.capacitor(name("C1"), c1, down))
	s.ground(s.capacitor(name("C2"), c2, down))
	s.flag(l.Name, collector, true)
}

// moreHighSide is all high-side switches that the starter has not.
func moreHighSide(s *Sheet) *Sheet {
	i := 0
	for position := 1; position <= 28; position++ {
		l := carrier.LaneAt(position)
		if l.High == "" || s.part(fmt.Sprintf("Q2%02d", position)).Group != s.Group {
			continue
		}
		s.highSwitch(l, draw.Point{X: 32 + 84*float64(i%3), Y: 54 + 74*float64(i/3)})
		i++
	}
	p := s.part("Q201")
	s.hint(draw.Point{X: 198, Y: 130}, draw.Start, "All are "+p.Value+":")
	for j, row := range wrap(p.Rating+". 1 collector, 2 base, 3 emitter: compare with the data sheet of yours. "+
		"The capacitors lie within 15 mm of the socket's pin and of the low-side switch's source.", small, 80) {
		s.hint(draw.Point{X: 198, Y: 133.2 + 3.2*float64(j)}, draw.Start, row)
	}
	return s
}
