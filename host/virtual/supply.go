package virtual

import (
	"math"
	"slices"

	"chipassay/vectors/part"
)

// supply is the share of the USB port's 5 V that reaches the chip and the board. It is
// updated with every change except steps of the drives, which move it by millivolts only,
// and before each measurement.
type supply struct {
	rail            float64 // V, the board's 5 V, which supplies drives, pulls and converters
	vcc, gnd        float64 // V at the die, to the board's ground
	taken, returned float64 // A: what the chip takes at its supply pins and returns at its ground pins
}

// supplyStep, V, is how far the supply may be from the value that its currents give.
const supplyStep = 0.0005

// follow updates the supply from the currents. The firmware looks at the current far more often
// than anything changes: then it is as it was.
func (s *Socket) follow() {
	if s.followed && !s.timed() {
		return
	}
	for range 30 {
		now := s.supply
		now.taken, now.returned = s.chipAmps()
		now.rail = s.board.usb - boardOhms*(boardAmps+s.railAmps())
		const ohms = 2 // more than the supply path has
		moved := math.Abs(now.rail-s.supply.rail) > supplyStep || s.limits() ||
			math.Abs(now.taken-s.supply.taken)*ohms > supplyStep || math.Abs(now.returned-s.supply.returned)*ohms > supplyStep
		if !moved && !s.supplied() {
			s.followed = true
			return
		}
		s.supply.rail, s.supply.taken, s.supply.returned = now.rail, now.taken, now.returned
		s.era++
		if s.switches.closed() {
			s.followSwitches()
		}
		s.dirty = s.every()
		s.solveDirty()
		if s.powered {
			for range rounds {
				if !s.dieFollows() {
					break
				}
				s.solveDirty()
			}
		}
		s.fresh = 0
	}
}

// supplied sets the die's supply, and whether it has moved.
func (s *Socket) supplied() bool {
	if !s.powered {
		return false
	}
	bond := s.chip.variety.Bond
	vcc, gnd := s.voltsAt(part.Supply)-s.supply.taken*bond, s.voltsAt(part.Ground)+s.supply.returned*bond
	if math.Abs(vcc-s.supply.vcc) < supplyStep && math.Abs(gnd-s.supply.gnd) < supplyStep {
		return false
	}
	s.supply.vcc, s.supply.gnd = vcc, gnd
	s.era++
	s.chip.supplied(vcc, gnd)
	return true
}

// feeds reports whether a pad is a supply or ground pin with its switch closed.
func (s *Socket) feeds(p *pad, role part.Role) bool {
	closed := s.lowOn
	if role == part.Supply {
		closed = s.highOn
	}
	return p.bonded && !p.away && s.of[s.chip.position(p.pin)].positions&closed != 0 && s.chip.role(p.pin) == role
}

// findFeeders notes the pads that may feed the die.
func (s *Socket) findFeeders() {
	for i := range s.chip.pads {
		p := &s.chip.pads[i]
		switch s.chip.role(p.pin) {
		case part.Supply:
			s.feeders[0] = append(s.feeders[0], p)
		case part.Ground:
			s.feeders[1] = append(s.feeders[1], p)
		}
	}
}

// feedersOf are the pads that may feed the die's supply or its ground.
func (s *Socket) feedersOf(role part.Role) []*pad {
	if role == part.Supply {
		return s.feeders[0]
	}
	return s.feeders[1]
}

// voltsAt is the voltage of the die's supply or ground: that of the pin that feeds it.
func (s *Socket) voltsAt(role part.Role) float64 {
	for _, p := range s.feedersOf(role) {
		if s.feeds(p, role) {
			return s.of[s.chip.position(p.pin)].volts
		}
	}
	return 0
}

// share is the fraction of the chip's current at a node: all of it at the pin that feeds the die.
func (s *Socket) share(n *node, role part.Role) float64 {
	if n.positions&(s.highOn|s.lowOn) == 0 {
		return 0
	}
	for _, p := range s.feedersOf(role) {
		if s.feeds(p, role) {
			if s.of[s.chip.position(p.pin)] == n {
				return 1
			}
			return 0
		}
	}
	return 0
}

// joined reports whether a supply pin is bonded, at a closed switch, and near enough to its
// rail, apart from the drop of the chip's own current.
func (s *Socket) joined(role part.Role) bool {
	for _, p := range s.feedersOf(role) {
		if !s.feeds(p, role) {
			continue
		}
		n := s.of[s.chip.position(p.pin)]
		off := n.volts - s.supply.returned*s.lowOhms()
		if role == part.Supply {
			off = s.supply.rail - n.volts - s.supply.taken*s.highOhms()
		}
		if off < sagVolts {
			return true
		}
	}
	return false
}

// chipAmps is what a powered chip takes from its supply, A: its own current at
// rest and what its outputs and inputs send out; and what it returns at its ground.
func (s *Socket) chipAmps() (taken, returned float64) {
	if !s.powered {
		return 0, 0
	}
	taken = s.chip.restAmps(s.supply.vcc - s.supply.gnd)
	returned = taken
	for i := range s.nodes {
		taken, returned = taken+s.nodes[i].flow.taken, returned+s.nodes[i].flow.returned
	}
	return taken, returned
}

// A flow is what flows at a node, A: what the chip's outputs and inputs take of its supply
// and return at its ground there, and what the drives and pulls take of the board's 5 V.
type flow struct{ taken, returned, drawn float64 }

// tally finds the currents at a node from its voltage.
func (s *Socket) tally(n *node) flow { return s.flowOf(n, s.padElements(n)) }

// flowOf is tally where the elements are known; those of the board are at no rail of the die.
func (s *Socket) flowOf(n *node, elements []element) (c flow) {
	for i := range elements {
		e := &elements[i]
		if e.rail == free {
			continue
		}
		if current, _ := e.at(n.volts); e.rail == atSupply {
			c.taken += current
		} else {
			c.returned -= current
		}
	}
	for i := range n.legs {
		l := &n.legs[i]
		if s.state[l.lead].on&s.state[l.lead].up>>l.bit&1 != 0 {
			c.drawn += (s.supply.rail - n.volts) * l.high
		}
	}
	return c
}

// limits bounds the current of a high-side switch, and reports whether that changed
// anything.
func (s *Socket) limits() bool {
	was, most := s.switches.limited, s.wiring.strength.most
	s.switches.limited = false
	for i := range s.nodes {
		for _, q := range s.nodes[i].pnps {
			if s.switches.high[q] && s.switched(&s.nodes[i]) > most {
				s.switches.limited = true
			}
		}
	}
	return was != s.switches.limited
}

// highAmps is what flows from the source into the closed high-side switches, A, the
// current of their bases included.
func (s *Socket) highAmps() (amps float64) {
	for i := range s.nodes {
		n := &s.nodes[i]
		for _, q := range n.pnps {
			if s.switches.high[q] {
				amps += s.switched(n)
			}
		}
		if n.odd {
			amps += s.oddAmps(n)
		}
	}
	for _, closed := range s.switches.high {
		if closed && s.wiring.source.siemens > 0 {
			amps += baseAmps(s.fixedVolts(supplyNet), s.wiring.strength)
		}
	}
	return amps
}

// baseAmps is what the base of a closed PNP switch takes: 2.2 kΩ to an output of the
// MCU that is low.
func baseAmps(supply float64, of strength) float64 {
	return (supply - junctionVolts) / (2_200 + of.line)
}

// shuntAmps is what the monitor's shunt carries, A.
func (s *Socket) shuntAmps() float64 {
	source := &s.wiring.source
	return source.perLoad*s.highAmps() + source.standing*s.supply.rail
}

// railAmps is what the carrier takes of the board's 5 V, A, beside lamps and reference.
func (s *Socket) railAmps() float64 {
	amps := s.highAmps() + s.wiring.source.draws*s.supply.rail + s.switches.draws
	for i := range s.nodes {
		amps += s.nodes[i].flow.drawn
	}
	for _, c := range s.clusters {
		amps += s.componentAmps(c.component)
	}
	return amps
}

// componentAmps is what a component takes of the board's 5 V, A.
func (s *Socket) componentAmps(c *component) (amps float64) {
	for _, d := range c.drivers {
		if on, high := s.state.does(d); on && high {
			volts, _ := s.netVolts(d.net)
			_, ohms := s.wiring.strength.of(d)
			amps += (s.supply.rail - volts) / ohms
		}
	}
	for _, r := range c.wires {
		if min(r.a, r.b) == railNet {
			volts, _ := s.netVolts(max(r.a, r.b))
			amps += (s.supply.rail - volts) * r.siemens
		}
	}
	return amps
}

// closed reports whether any switch is closed.
func (sw *switches) closed() bool {
	return slices.Contains(sw.high, true) || slices.ContainsFunc(sw.low, func(g float64) bool { return g > 0 })
}
