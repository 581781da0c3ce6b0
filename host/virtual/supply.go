package virtual

import (
	"math"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
)

// supply is what the chip and the board get of the 5 V at the USB port. It follows the
// currents of the socket slowly: with each change but a step of the drives, and
// before each measurement. A step moves it by some millivolts.
type supply struct {
	rail            float64 // V, the board's 5 V, which the drives, pulls and converters have
	vcc, gnd        float64 // V at the die, to the board's ground
	taken, returned float64 // A: what the chip takes at its supply pins and returns at its ground pins
}

// supplyStep, V, is by how little the supply may differ from what its currents make it.
const supplyStep = 0.0005

// follow lets the supply follow the currents.
func (s *Socket) follow() {
	for range 30 {
		now := s.supply
		now.taken, now.returned = s.chipAmps()
		now.rail = s.board.usb - boardOhms*s.boardAmps()
		moved := math.Abs(now.rail-s.supply.rail) > supplyStep ||
			math.Abs(now.taken-s.supply.taken)*s.board.highOhms() > supplyStep || math.Abs(now.returned-s.supply.returned)*lowOhms > supplyStep
		if !moved && !s.supplied() {
			return
		}
		s.supply.rail, s.supply.taken, s.supply.returned = now.rail, now.taken, now.returned
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

// supplied tells the die what its supply is now, and whether that has moved.
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
	s.chip.supplied(vcc, gnd)
	return true
}

// feeds tells whether a pad is a supply or ground pin that its switch holds.
func (s *Socket) feeds(p *pad, role part.Role) bool {
	closed := s.lowOn
	if role == part.Supply {
		closed = s.highOn
	}
	return s.chip.role(p.pin) == role && p.bonded && !p.away && s.of[s.chip.position(p.pin)].positions&closed != 0
}

// voltsAt is the voltage of the die's supply or ground: that of the pin that feeds it.
func (s *Socket) voltsAt(role part.Role) float64 {
	for i := range s.chip.pads {
		if p := &s.chip.pads[i]; s.feeds(p, role) {
			return s.of[s.chip.position(p.pin)].volts
		}
	}
	return 0
}

// share is which part of the chip's current flows at a node: all at that of the pin that feeds the die.
func (s *Socket) share(n *node, role part.Role) float64 {
	if n.positions&(s.highOn|s.lowOn) == 0 {
		return 0
	}
	for i := range s.chip.pads {
		if p := &s.chip.pads[i]; s.feeds(p, role) {
			if s.of[s.chip.position(p.pin)] == n {
				return 1
			}
			return 0
		}
	}
	return 0
}

// joined tells whether a supply pin is bonded, at a closed switch, and near enough to
// its rail, but for what the chip's own current takes.
func (s *Socket) joined(role part.Role) bool {
	for i := range s.chip.pads {
		p := &s.chip.pads[i]
		if !s.feeds(p, role) {
			continue
		}
		n := s.of[s.chip.position(p.pin)]
		off := n.volts - s.supply.returned*lowOhms
		if role == part.Supply {
			off = s.supply.rail - n.volts - s.supply.taken*s.board.highOhms()
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
		n := &s.nodes[i]
		for _, e := range s.padElements(n) {
			switch current, _ := e.at(n.volts); e.rail {
			case atSupply:
				taken += current
			case atGround:
				returned -= current
			}
		}
	}
	return taken, returned
}

// highAmps is what flows through the shunt into the closed high-side switches, A, the
// current of their bases included.
func (s *Socket) highAmps() (amps float64) {
	for p := range s.highOn.Positions() {
		amps += max(0, s.supply.rail-saturated-s.of[p].volts)/s.board.highOhms() + baseAmps(s.supply.rail)
	}
	return amps
}

// baseAmps is what the base of a closed PNP switch takes: 2.2 kΩ to an output of the
// MCU that is low, and 10 kΩ beside the junction.
func baseAmps(rail float64) float64 { return (rail - 0.75) / (2_200 + pinOhms) }

// boardAmps is what the socket takes of the board's 5 V, A, over what the board always takes.
func (s *Socket) boardAmps() float64 {
	amps := s.highAmps()
	b := s.board
	for p := 1; p <= adapter.Positions; p++ {
		i, down := bitOf(p), s.supply.rail-s.of[p].volts
		if (s.dir | b.stuck).Has(p) && (s.level&^b.stuck | b.stuckHigh).Has(p) {
			amps += down * b.drive[i]
		}
		for which := range s.pulls {
			if s.pulls[which].on && s.pulls[which].up.Has(p) {
				amps += down * b.pull[which][i]
			}
		}
	}
	return amps
}
