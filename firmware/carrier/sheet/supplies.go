package sheet

import (
	"fmt"

	"chipassay/firmware/carrier"
	"chipassay/firmware/carrier/draw"
)

// supplies is fuse, monitor, the starter's high-side switch, lamps and button.
func supplies(s *Sheet) *Sheet {
	start := draw.Point{X: 36, Y: 36}
	s.wire(start.Plus(-10, 0), start)
	s.supply(s.net("F1", "1"), start.Plus(-10, 0))
	fused := s.fuse("F1", start, right)
	at := draw.Point{X: 86, Y: 32}
	s.caption("U51", at.Plus(16, -2), draw.Middle)
	ends := s.circuit("U51", at, 32, 8, side{"VIN+", "", "SCL", "SDA", ""}, side{"VIN-"}, nil, side{"VCC", "GND"})
	monitor := s.part("U51")
	in, out := ends["VIN+"], ends["VIN-"]
	s.wire(fused, in)
	s.name(s.net("F1", "2"), draw.Point{X: fused.X + 14, Y: in.Y})
	s.flag(monitor.Net("SCL"), ends["SCL"], false)
	s.flag(monitor.Net("SDA"), ends["SDA"], false)
	s.flag(monitor.Net("VCC"), ends["VCC"], false)
	s.ground(ends["GND"])
	s.flag(monitor.Net("VIN-"), out, true)
	s.hint(at.Plus(38, 8), draw.Start, "to the emitters of all high-side switches")
	s.highSwitch(carrier.LaneAt(28), draw.Point{X: 200, Y: 62})
	for i := 1; i <= 3; i++ {
		r, d := fmt.Sprintf("R80%d", i), fmt.Sprintf("D%d", i)
		from := draw.Point{X: 44, Y: 106 + 22*float64(i-1)}
		s.flag(s.net(r, "1"), from, false)
		end := s.resistor(r, from, right)
		anode := end.Plus(24, 0)
		s.wire(end, anode)
		s.name(s.net(r, "2"), end.Plus(10, 0))
		s.lamp(d, anode.Plus(partLength, 0), left)
		s.ground(anode.Plus(partLength, 0))
	}
	key := draw.Point{X: 190, Y: 128}
	s.flag(s.net("S1", "1"), key, false)
	s.ground(s.button("S1", key, right))
	s.hint(key.Plus(-8, 12), draw.Start, "pull-up in the microcontroller")
	return s
}
