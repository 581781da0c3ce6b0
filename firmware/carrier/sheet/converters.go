package sheet

import (
	"fmt"

	"chipassay/firmware/carrier"
	"chipassay/firmware/carrier/draw"
)

const channelPitch = 8.0

// converters is the far half's converters with their sense resistors, and the reference.
func converters(s *Sheet) *Sheet {
	s.converter("U41", draw.Point{X: 86, Y: 28}, carrier.Lanes()[8:14])
	s.converter("U42", draw.Point{X: 218, Y: 28}, carrier.Lanes()[22:28])

	top := draw.Point{X: 34, Y: 132}
	s.supply(s.net("R831", "1"), top)
	node := s.resistor("R831", top, down)
	s.zener("U43", node)
	s.ground(node.Plus(0, partLength))
	across := node.Plus(22, 0)
	s.wire(node, across)
	s.wire(across, across.Plus(14, 0))
	s.flag(s.part("U43").Net("K"), across.Plus(14, 0), true)
	s.ground(s.capacitor("C43", across, down))

	pull := draw.Point{X: 132, Y: 136}
	s.supply(s.net("R814", "1"), pull)
	s.flag(s.net("R814", "2"), s.resistor("R814", pull, down), true)
	s.hint(pull.Plus(-1, 22), draw.Start, "not selected at reset")
	return s
}

// converter draws an MCP3208 with the sense resistors of its lanes.
func (s *Sheet) converter(ref string, at draw.Point, lanes []carrier.Lane) {
	p := s.part(ref)
	s.caption(ref, at.Plus(2, -4), draw.End)
	var channels side
	for i := range 8 {
		channels = append(channels, fmt.Sprintf("CH%d", i))
	}
	ends := s.circuit(ref, at, 36, channelPitch, append(append(side{""}, channels...), ""), side{"", "/CS", "CLK", "DIN", "DOUT"}, side{"VREF", "VDD"}, side{"AGND", "DGND"})
	for i, l := range lanes {
		r := fmt.Sprintf("R2%02d", l.Position)
		start := ends[channels[i]].Plus(-32, 0)
		s.flag(s.net(r, "1"), start, false)
		end := s.resistor(r, start, right)
		s.wire(end, ends[channels[i]])
		s.name(l.SenseNet(), end.Plus(9, 0))
	}
	for _, name := range channels[6:] {
		s.flag(p.Net(name), ends[name], false)
	}
	for _, name := range []string{"/CS", "CLK", "DIN", "DOUT"} {
		s.flag(p.Net(name), ends[name], true)
	}
	s.supply(p.Net("VREF"), ends["VREF"])
	s.supply(p.Net("VDD"), ends["VDD"])
	s.ground(ends["AGND"])
	s.ground(ends["DGND"])
	c := "C" + ref[1:]
	top := at.Plus(46, 52)
	s.supply(s.net(c, "1"), top)
	s.ground(s.capacitor(c, top, down))
}
