package virtual

import "math"

// The converters' channels that measure no position: board.h.
const (
	referenceChannel1 = 22
	supplyChannel     = 23
	referenceChannel2 = 30
)

// channelPosition is the position that a converter's channel measures, 0 where it is
// none: 0-7 L1-8, 8-15 R1-8, 16-21 L9-14, 24-29 R9-14.
func channelPosition(channel int) int {
	switch {
	case channel < 0 || channel > 29 || channel&7 > 5 && channel >= 16:
		return 0
	case channel < 8:
		return channel + 1
	case channel < 16:
		return 28 - (channel - 8)
	case channel < 22:
		return channel - 16 + 9
	}
	return 20 - (channel - 24)
}

// Convert gives what a converter makes of a channel, 0 to 4095 for 0 V to the board's
// 5 V: the near channels by the MCU's converter of ten bits, the far ones by twelve.
// Behind an open line a converter still holds what it measured before.
func (s *Socket) Convert(channel int) int {
	s.arrive()
	s.follow()
	held, b := &s.held[min(2, max(0, channel/8-1))], s.board
	switch p := channelPosition(channel); {
	case p != 0 && !b.senseOpen.Has(p):
		*held = s.of[p].volts
	case channel == referenceChannel1 || channel == referenceChannel2:
		*held = b.reference
	case channel == supplyChannel:
		*held = s.supply.rail - s.highAmps()*(fuseOhms+b.shunt)
	}
	volts := *held*b.gain + b.offsetMV/1000
	steps := 4096.0
	if channel < 16 {
		steps = 1024
	}
	return int(max(0, min(steps-1, math.Round(volts/s.supply.rail*steps)))) * int(4096/steps)
}

// CurrentMicroamps gives what the monitor in the high side of the supply reads, µA, the
// switch's base current included: 100 µA a step up to its full scale.
func (s *Socket) CurrentMicroamps() int {
	s.arrive()
	s.follow()
	if s.board.monitorDead {
		return 0
	}
	seen := s.highAmps() * s.board.shunt / shuntOhms * 1e6
	return min(int(math.Round(seen/monitorStep))*monitorStep, fullScale)
}

// RailVolts is the board's 5 V as a meter shows it.
func (s *Socket) RailVolts() float64 {
	s.arrive()
	s.follow()
	return s.supply.rail
}

// Chain shifts a 1 through a chain of registers, 0 that of the low-side switches, 1 of
// the bias and 2 of the load, and gives its outputs: 0 where nothing is, or nothing that shifts.
func (s *Socket) Chain(which int) int { return [...]int{16, 32, 32}[which] }

// Converter tells whether a far converter, 0 or 1, answers.
func (s *Socket) Converter(which int) bool { return which < 2 }
