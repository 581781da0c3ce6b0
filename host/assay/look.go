package assay

import (
	"math"
	"slices"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A look is one step on a socket without supply, all positions read, and some
// measured where a voltmeter is there.
type look struct {
	stimulus.Step
	bias, load adapter.Pull
	volts      part.Pins // positions to be measured
}

// everywhere are all positions.
const everywhere part.Pins = 1<<adapter.Positions - 1

// What a look waits and averages: the nodes of an unpowered die come to rest
// through the bias resistors, 10 kΩ and some 50 pF of socket and pin.
const (
	lookSettle    = 50 * time.Microsecond
	lookAveraging = 3 // 2^3 conversions
)

// look takes looks in order, in one request where a voltmeter is there.
func (c *contact) look(looks []look) ([]adapter.Measured, error) {
	if c.meter == nil {
		return c.lookByLevels(looks)
	}
	var steps []adapter.MeasureStep
	for _, l := range looks {
		steps = append(steps, adapter.MeasureStep{
			Step: l.Step, Bias: l.bias, Load: l.load, Settle: lookSettle, Pins: l.volts, Averaging: lookAveraging,
		})
	}
	return c.meter.ProbeMeasure(c.ctx, steps)
}

// lookByLevels takes looks without a voltmeter.
func (c *contact) lookByLevels(looks []look) (seen []adapter.Measured, err error) {
	for len(looks) > 0 {
		n := 1
		for n < len(looks) && looks[n].bias == looks[0].bias && looks[n].load == looks[0].load {
			n++
		}
		var steps []stimulus.Step
		for _, l := range looks[:n] {
			steps = append(steps, l.Step)
		}
		read, err := c.prober.Probe(c.ctx, steps, looks[0].bias, looks[0].load)
		if err != nil {
			return nil, err
		}
		for _, high := range read {
			seen = append(seen, adapter.Measured{High: high})
		}
		looks = looks[n:]
	}
	return seen, nil
}

// looks is how often a position is read. Where no voltmeter tells that a level is
// between low and high, its readings may differ.
func (c *contact) looks() int {
	if c.meter == nil {
		return 3
	}
	return 1
}

// touchLooks look whether each pin touches a chip whose ground pin does: with every
// other signal pin driven high, and so without load on the ground pin, a pin that
// the bias rail pulls low stands at 4.1 V, which reads high for certain.
func (c *contact) touchLooks(l placement) (looks []look) {
	for pin := range c.judged().All() {
		step := high(c.at(l, c.all().With(pin, false).With(c.v.VCC(), false)))
		looks = append(looks, slices.Repeat([]look{{step, adapter.Low, adapter.Off, c.at(l, part.PinSet(pin))}}, c.looks())...)
	}
	return looks
}

// touchers gives the pins that touch, by what touchLooks saw, and those that do
// not and yet are held up by something: no pin of a chip that lies right is.
func (c *contact) touchers(l placement, seen []adapter.Measured) (touching, held part.Pins) {
	touching = c.judged()
	for pin := range c.judged().All() {
		position := l.position(pin, c.n)
		for _, m := range seen[:c.looks()] {
			v := m.Volts[position]
			touches := m.High.Has(position)
			if c.meter != nil && !math.IsNaN(v) {
				touches = v > leastFollow
				held = held.With(pin, !touches && v > leastVolts)
			}
			touching = touching.With(pin, touching.Has(pin) && touches)
		}
		seen = seen[c.looks():]
	}
	return touching, held
}

// touching gives the pins that are seen to touch a chip placed so.
func (c *contact) touching(l placement) (part.Pins, error) {
	seen, err := c.look(c.touchLooks(l))
	if err != nil {
		return 0, err
	}
	touching, _ := c.touchers(l, seen)
	return touching, nil
}
