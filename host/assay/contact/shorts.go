package contact

import (
	"math"
	"math/bits"
	"slices"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
)

// What shorts show (design.md, step 3), V: these are drops of junctions, and no shares
// of the rail. Ground and supply are held at 0 V, and of two pins that touch each other
// the one that is pulled low rises as far as the junctions let the other.
const (
	riseVolts  = 0.30 // a pin that is pulled low stands over it only by a short
	aboveRails = 0.10 // a pin that is pulled high stands at least so far from a supply pin; a good one 0.15 or more
)

// A code says which patterns pull a pin high: bit k of it pattern k. Pins that are
// joined inside have the same, so that no pattern parts them.
func (c *contact) code(pin int) int {
	if joined := c.v.JoinedWith(pin); joined != nil {
		return joined[0]
	}
	return pin
}

// shortable are the pins that are looked at for shorts: the signals, but for those
// that a path inside joins to a supply pin.
func (c *contact) shortable() (pins part.Pins) {
	for _, p := range c.v.Pins {
		supplied := slices.ContainsFunc(c.v.JoinedWith(p.Number), func(n int) bool {
			role := c.v.Pins[n-1].Role
			return role == part.Supply || role == part.Ground
		})
		furtherGround := p.Diodeless && p.Tied == part.TiedLow
		// A tie to a shorted pin shorts the supply.
		pins = pins.With(p.Number, p.Signal() && (p.Untested == "" || c.v.Held(p.Number)) && !supplied && !furtherGround)
	}
	return pins
}

// held holds the supply pins at 0 V: by their switches, and through the drive where
// there are none.
func (c *contact) held(s seated) (switched, driven part.Pins) {
	both := s.grounds.With(s.vcc, true)
	switched = both & c.can.Ground
	return switched, both &^ switched
}

// pulled is a look with some pins pulled high.
func (c *contact) pulled(driven, pins part.Pins) look {
	return look{step: ShortStep, down: driven, biased: c.at(pins), volts: c.as(placement{}).all}
}

// shorts finds pins that touch each other or a supply. The first patterns show whether
// there are any; each pin alone shows which.
func (c *contact) shorts() (Seating, error) {
	s := c.as(placement{})
	switched, driven := c.held(s)
	if err := c.prober.Ground(c.ctx, switched); err != nil {
		return Seating{}, err
	}
	pins := c.shortable()
	var looks []look
	var up []part.Pins // pins that each look pulls high
	for k := range bits.Len(uint(len(c.v.Pins))) {
		high := part.Pins(0)
		for pin := range pins.All() {
			high = high.With(pin, c.code(pin)>>k&1 == 1)
		}
		up = append(up, high)
		looks = append(looks, c.pulled(driven, high))
	}
	seen, err := c.look(looks...)
	if err != nil {
		return Seating{}, err
	}
	suspicious := false
	for i, m := range seen {
		rose, atSupply := c.judge(s, pins, up[i], m)
		suspicious = suspicious || rose != 0 || atSupply != 0
	}
	if !suspicious {
		return Seating{}, nil
	}
	return c.shortsOf(s, driven, pins)
}

// judge gives the pins that rose in a look though they were pulled low, and those that
// stand at a supply pin though they were pulled high.
func (c *contact) judge(s seated, pins, up part.Pins, m adapter.Measured) (rose, atSupply part.Pins) {
	ground := m.Volts[s.gnd]
	if math.IsNaN(ground) {
		ground = 0 // its switch holds it there
	}
	for pin := range pins.All() {
		v := m.Volts[adapter.PositionOf(pin, c.n())]
		rose = rose.With(pin, !up.Has(pin) && v > riseVolts)
		atSupply = atSupply.With(pin, up.Has(pin) && (near(v, m.Volts[s.vcc]) || near(v, ground)))
	}
	return rose, atSupply
}

// near reports whether two voltages are that of one node; not where one is not measured.
func near(a, b float64) bool { return a-b < aboveRails && b-a < aboveRails }

// shortsOf pulls each pin high alone and finds the pins that rise with it, and those that
// stand at a supply pin. Where an input is high too, an output may be held at ground by
// its own transistor: the inputs of a 4049 have no diode to its supply.
func (c *contact) shortsOf(s seated, driven, pins part.Pins) (Seating, error) {
	var looks []look
	for pin := range pins.All() {
		looks = append(looks, c.pulled(driven, part.PinSet(pin)))
	}
	seen, err := c.look(looks...)
	if err != nil {
		return Seating{}, err
	}
	var touching, atSupply part.Pins
	i := 0
	for pin := range pins.All() {
		rose, held := c.judge(s, pins, part.PinSet(pin), seen[i])
		for other := range rose.All() {
			if c.code(other) != c.code(pin) {
				touching |= part.PinSet(pin, other)
			}
		}
		atSupply |= held
		i++
	}
	switch {
	case touching != 0:
		s := shorted(touching.Words()+" shorted", touching)
		s.Kind = Touching
		return s, nil
	case atSupply != 0:
		return c.supplyShorts(s, atSupply)
	}
	return Seating{}, nil
}

// supplyShorts distinguishes pins shorted to ground from those shorted to the supply:
// with ground alone driven high the first stand at its voltage, and the supply is a
// junction below.
func (c *contact) supplyShorts(s seated, pins part.Pins) (Seating, error) {
	if err := c.prober.Ground(c.ctx, 0); err != nil {
		return Seating{}, err
	}
	seen, err := c.look(s.groundUp(ShortStep, s.all))
	if err != nil {
		return Seating{}, err
	}
	ground := c.groundVolts(s, seen[0])
	var atGround part.Pins
	for pin := range pins.All() {
		atGround = atGround.With(pin, near(seen[0].Volts[adapter.PositionOf(pin, c.n())], ground))
	}
	if atGround != 0 {
		return shorted(atGround.Words()+" shorted to ground", atGround), nil
	}
	return shorted(pins.Words()+" shorted to the supply", pins), nil
}

func shorted(found string, pins part.Pins) Seating {
	return Seating{
		Found:  found,
		Advice: "look for a whisker or solder, clean the pins and test again. If it stays so, the chip is broken" + orAdapter,
		Kind:   Shorted,
		Pins:   slices.Collect(pins.All()),
	}
}
