package virtual

import "math"

// Convert gives what a converter makes of a channel, 0 to 4095 for 0 V to the board's
// 5 V: the near channels by the MCU's converter of ten bits, the far ones by twelve.
// Behind an open line a converter still holds its previous sample.
func (s *Socket) Convert(channel int) int {
	s.arrive()
	s.follow()
	which, steps := 0, 1024.0
	if channel >= 16 {
		which, steps = min(channel/8-1, 2), 4096
	}
	held, w := &s.held[which], s.wiring
	if which != 0 && !w.references[which-1] {
		return fullCount // its reference line is open
	}
	n := w.inputs[channel&31]
	if volts, ok := s.netVolts(n); ok {
		switch {
		case n == supplyNet && w.source.siemens > 0:
			volts -= s.highAmps() / w.source.siemens
		case n == w.reference && w.referenceHolds:
			volts = min(volts, s.board.reference)
		}
		*held = volts
	}
	of := s.board.converter[which]
	count := math.Round((*held*of.gain + of.offset) / s.supply.rail * steps)
	return int(max(0, min(steps-1, count))) * int((fullCount+1)/steps)
}

const fullCount = 4095

// CurrentMicroamps gives what the monitor in the high side of the supply reads, µA, the
// switch's base current included: 100 µA a step up to its full scale.
func (s *Socket) CurrentMicroamps() int {
	s.arrive()
	s.follow()
	if !s.wiring.monitored {
		return 0
	}
	seen := s.shuntAmps() * s.wiring.source.fault * 1e6
	return min(int(math.Round(seen/monitorStep))*monitorStep, fullScale)
}

// RailVolts is the board's 5 V as a meter shows it.
func (s *Socket) RailVolts() float64 {
	s.arrive()
	s.follow()
	return s.supply.rail
}

// Chain shifts a 1 through a chain of registers, 0 that of the low-side switches, 1 of
// the bias and 2 of the load, and gives its outputs: 0 if nothing is fitted, or nothing shifts.
func (s *Socket) Chain(which int) int {
	if which < 0 || which >= len(s.wiring.chains) {
		return 0
	}
	return s.wiring.chains[which].outputs
}

// Converter reports whether a far converter, 0 or 1, answers.
func (s *Socket) Converter(which int) bool {
	return which >= 0 && which < 2 && s.wiring.converters[which]
}

// Button reports whether the button's line is at ground, pressed or by a fault of the board.
func (s *Socket) Button(pressed bool) bool { return s.board.buttonReads(pressed) }

// Monitor reports whether the current monitor answers.
func (s *Socket) Monitor() bool { return s.wiring.monitored }
