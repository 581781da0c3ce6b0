package contact

import (
	"fmt"
	"math"
	"slices"

	"chipassay/host/adapter"
	"chipassay/host/probe"
	"chipassay/vectors/part"
)

// A placement is how a chip may be seated: off the lever end by some positions, turned,
// or in another package than it should, with its supplies at the corners.
type placement struct {
	shift  int
	turned bool
	pins   int // of another package; 0 for its own
}

// misplacements are the wrong ones, the likeliest first.
var misplacements = []placement{
	{turned: true}, {shift: 1}, {shift: 2}, {shift: 1, turned: true}, {shift: 2, turned: true},
	{pins: 14}, {pins: 16}, {pins: 18}, {pins: 20}, {pins: 22}, {pins: 24}, {pins: 28},
}

// position is the socket position of pin p of an n-pin package placed so.
func (l placement) position(p, n int) int {
	if l.turned {
		p = probe.Seat{Pins: n}.Opposite(p)
	}
	if p > n/2 {
		return adapter.PositionOf(p, n) - l.shift
	}
	return adapter.PositionOf(p, n) + l.shift
}

// A seated is a chip as it would be if it were placed somehow, by positions.
type seated struct {
	placement
	vcc, gnd int
	grounds  part.Pins // gnd, and further supply pins that are held at its level
	touching part.Pins // that stand for certain where ground and supply are high, if they touch
	all      part.Pins
}

// as gives the positions of the chip placed so.
func (c *contact) as(l placement) seated {
	if l.pins != 0 {
		s := packaged(probe.Seat{Pins: l.pins, VCC: l.pins, GND: l.pins / 2})
		s.placement = l
		return s
	}
	n := len(c.v.Pins)
	s := seated{placement: l, vcc: l.position(c.v.VCC(), n), gnd: l.position(c.v.GND(), n)}
	for _, p := range c.v.Pins {
		at := part.PinSet(l.position(p.Number, n))
		s.all |= at
		switch {
		case p.Role == part.Ground, p.Diodeless && p.Tied == part.TiedLow:
			s.grounds |= at
		case Judges(p):
			s.touching |= at
		}
	}
	return s
}

// Judges reports whether a pin's contact can be judged: not that of pins for parts
// outside the chip, of those that some makers leave open, and of those that have no
// junction to ground.
func Judges(p part.Pin) bool {
	return p.Signal() && p.Untested == "" && !p.Diodeless
}

// groundUp, supplyUp and bothUp drive the ground pins, the supply pin and all of them
// high, all else biased low.
func (s seated) groundUp(step Step, volts part.Pins) look {
	return look{step: step, up: part.PinSet(s.gnd), volts: volts}
}

func (s seated) supplyUp(step Step, volts part.Pins) look {
	return look{step: step, up: part.PinSet(s.vcc), volts: volts}
}

func (s seated) bothUp(step Step, volts part.Pins) look {
	return look{step: step, up: s.grounds.With(s.vcc, true), volts: volts}
}

// A pair is how two supply pins stand to each other.
type pair uint8

// The pairs.
const (
	pairUnclear pair = iota
	pairRight
	pairShorted
	pairApart // nothing leads from either to the other
)

// What the supply pair shows (design.md, step 1; ngspice on some fifty chip models at
// the corners of supply and resistors). The drops are those of junctions, and no
// shares of the rail.
const (
	leastDrop = 0.30 // V from the driven ground pin to the supply pin, across the die's substrate
	mostDrop  = 0.80
	otherDrop = 0.20 // V that it is more the other way, at least
	// apartDrop, of the rail: nothing leads from pin to pin. It is that of a driven pin
	// that nothing loads, so a pin below the rest of the rail follows nothing.
	apartDrop = 0.88
)

// drops are the two voltages across a supply pair, V: down from the ground pin that is
// driven, and down from the supply pin. NaN where a position is not measured.
func (c *contact) drops(s seated, groundUp, supplyUp adapter.Measured) (fromGround, fromSupply float64) {
	ground := groundUp.Volts[s.gnd]
	if math.IsNaN(ground) {
		ground = c.reckoned(s, groundUp)
	}
	return ground - groundUp.Volts[s.vcc], supplyUp.Volts[s.vcc] - supplyUp.Volts[s.gnd]
}

// reckoned is the voltage of a ground pin that is driven high and not measured: the
// currents through the bias resistors show the drop over its drive resistance.
func (c *contact) reckoned(s seated, m adapter.Measured) float64 {
	sum, measured := 0.0, 0
	for position := range s.all.With(s.gnd, false).All() {
		if v := m.Volts[position]; !math.IsNaN(v) {
			sum += v
			measured++
		}
	}
	amps := sum / float64(max(measured, 1)) * float64(s.all.Len()-1) / c.k.BiasOhms
	return c.k.SupplyVolts - amps*c.k.DriveOhms
}

// pairOf judges a supply pair by what was seen with each of its pins driven high.
// Where the ground pin is not measured, the way from supply to ground is not known;
// then the soft start decides.
func (c *contact) pairOf(s seated, groundUp, supplyUp adapter.Measured) pair {
	down, back := c.drops(s, groundUp, supplyUp)
	idle := (1 - apartDrop) * c.k.SupplyVolts
	switch {
	case math.IsNaN(down): // the supply pin's position is not measured
		if up := groundUp.High.Has(s.vcc); up && supplyUp.Volts[s.gnd] < c.k.SupplyVolts-leastDrop-otherDrop {
			return pairRight
		} else if up {
			return pairUnclear
		}
		return pairApart
	case math.IsNaN(back) && down >= leastDrop && down <= mostDrop:
		return pairRight
	case math.IsNaN(back) && down < leastDrop && supplyUp.High.Has(s.gnd), down < leastDrop && back < leastDrop:
		return pairShorted
	case down >= leastDrop && down <= mostDrop && back >= down+otherDrop:
		return pairRight
	case groundUp.Volts[s.vcc] < idle && (supplyUp.Volts[s.gnd] < idle || math.IsNaN(back) && !supplyUp.High.Has(s.gnd)):
		return pairApart
	}
	return pairUnclear
}

// touchVolts, of the rail, is 1.4 V of 5: with ground and supply driven high a pin that
// touches stands at 2.50 V or more against the bias, an open one at 0.00 (design.md, step 2).
const touchVolts = 0.28

// touching gives the positions that touch, by a look with ground and supply high, and
// those that are not judged: they are not measured, and read low.
func (c *contact) touching(s seated, bothUp adapter.Measured) (touching, unjudged part.Pins) {
	for position := range s.touching.All() {
		switch v := bothUp.Volts[position]; {
		case !math.IsNaN(v):
			touching = touching.With(position, v > touchVolts*c.k.SupplyVolts)
		case bothUp.High.Has(position):
			touching = touching.With(position, true)
		default:
			unjudged = unjudged.With(position, true)
		}
	}
	return touching, unjudged
}

// idleVolts, V, is more than a position without a pin shows under its bias.
const idleVolts = 0.30

// fits reports whether a chip is seated as placed: its supply pair answers, nearly all of its
// pins touch, and nothing stands up where no pin of it is.
func (c *contact) fits(s seated, seen [3]adapter.Measured) bool {
	if c.pairOf(s, seen[0], seen[1]) != pairRight || c.beyond(s, seen[2]) {
		return false
	}
	touching, unjudged := c.touching(s, seen[2])
	judged := s.touching &^ unjudged
	return 4*touching.Len() >= 3*judged.Len() && touching != 0
}

// beyond reports whether something stands up where a chip placed so has no pin.
func (c *contact) beyond(s seated, bothUp adapter.Measured) bool {
	for position := range (c.can.Measure &^ s.all).All() {
		if bothUp.Volts[position] > idleVolts {
			return true
		}
	}
	return false
}

// misplaced finds where a chip is seated whose supply pair does not answer where it should.
func (c *contact) misplaced() (found placement, ok bool, err error) {
	var places []seated
	for _, l := range misplacements {
		if l.pins == len(c.v.Pins) || l.pins == 0 && len(c.v.Pins)+2*l.shift > adapter.Positions {
			continue
		}
		s := c.as(l)
		if l.pins != 0 && l.pins < len(c.v.Pins) && c.as(placement{}).touching&^s.all == 0 {
			continue // nothing would show its further pins: the ground of a 4022, beside a pin that is not connected
		}
		if s.all&^c.can.Reach == 0 {
			places = append(places, s)
		}
	}
	seen, rise, err := c.placed(places)
	if err != nil {
		return placement{}, false, err
	}
	for i, s := range places {
		if c.fits(s, seen[i]) {
			return s.placement, true, nil
		}
	}
	c.answered = c.answered || rise
	return placement{}, false, nil
}

// placed looks at a chip as it would be in each place, its ground pins, its supply pin and
// both up, and reports whether a position stands up that is not driven.
func (c *contact) placed(places []seated) (seen [][3]adapter.Measured, rise bool, err error) {
	var looks []look
	for _, s := range places {
		looks = append(looks, s.groundUp(PlacementStep, everywhere), s.supplyUp(PlacementStep, everywhere), s.bothUp(PlacementStep, everywhere))
	}
	all, err := c.look(looks...)
	if err != nil {
		return nil, false, err
	}
	for three := range slices.Chunk(all, 3) {
		seen = append(seen, [3]adapter.Measured(three))
	}
	return seen, c.rise(looks, all), nil
}

// rise reports whether a position stands up in a look that does not drive it.
func (c *contact) rise(looks []look, seen []adapter.Measured) bool {
	for i, m := range seen {
		if c.rises(m, looks[i].up) {
			return true
		}
	}
	return false
}

// rises reports whether a position stands up that is not driven.
func (c *contact) rises(m adapter.Measured, driven part.Pins) bool {
	for position, v := range m.Volts {
		if position > 0 && v > idleVolts && !driven.Has(position) {
			return true
		}
	}
	return m.High&c.can.Reach&^c.can.Measure&^driven != 0
}

// seatingAt says where a chip is seated that should be elsewhere.
func (c *contact) seatingAt(l placement) Seating {
	s := Seating{Kind: Misplaced, Advice: "take the chip out, seat it with pin 1 at the lever end and test again"}
	switch {
	case l.pins != 0:
		s.Found = fmt.Sprintf("a chip with %d pins, not %d", l.pins, len(c.v.Pins))
		s.Advice = "check the marking, and test it as what it is"
	case l.shift > 0:
		s.Found = "shifted by " + [...]string{1: "one", 2: "two"}[l.shift]
	default:
		s.Found = "put in backwards"
		s.Advice = "take the chip out and turn it, the notch and pin 1 towards the lever end; " +
			"it had no supply and was not harmed"
	}
	return s
}
