package match

import (
	"math"
	"math/bits"
	"math/rand/v2"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// lanes is how many ways, faults or states are simulated side by side.
const lanes = 64

// A Way is some changes of held pins, one after the other.
type Way []int

// Split tries 64 ways of up to longest changes, and gives the one that best tells apart the
// parts that explain the trace. Each way begins with another held pin and goes on at random,
// with one pin favoured. Of the held pins, those in low are low. The way is empty where none
// shows a difference.
//
// This proves nothing: a checking experiment for a machine whose state is not known may be
// exponentially long (Lee and Yannakakis, Principles and methods of testing finite state
// machines, 1996; from memory).
func (t Trace) Split(fits []Fit, held, low part.Pins, longest int, random *rand.Rand) Way {
	var runners []*runner
	for _, f := range fits {
		if f.model == nil {
			continue
		}
		runners = append(runners, newRunner(f, math.Exp2(-min(f.Bits-fits[0].Bits, 20))))
	}
	if len(runners) < 2 || held == 0 {
		return nil
	}
	ways := draw(held, longest, random)
	opened := t.Signals() &^ held
	level := spread(held, low)
	differ := make([]uint64, len(runners)*len(runners))
	var best Way
	most := 0.0
	for step := range longest {
		for lane, way := range ways {
			level[way[step]] ^= 1 << lane
		}
		for _, r := range runners {
			r.step(held, &level, opened)
		}
		var gain [lanes]float64
		for i, a := range runners {
			for j, b := range runners[:i] {
				d := &differ[i*len(runners)+j]
				*d |= a.differs(b, opened)
				for rest := *d; rest != 0; rest &= rest - 1 {
					gain[bits.TrailingZeros64(rest)] += a.weight * b.weight
				}
			}
		}
		for lane, g := range gain {
			if rate := g / float64(step+3); rate > most {
				most, best = rate, ways[lane][:step+1]
			}
		}
	}
	return best
}

// spread gives the lanes in which each held pin is high: all or none.
func spread(held, low part.Pins) (level [part.MaxPins + 1]uint64) {
	for pin := range (held &^ low).All() {
		level[pin] = ^uint64(0)
	}
	return level
}

// draw draws 64 ways. Each begins with another pin and favours one.
func draw(held part.Pins, longest int, random *rand.Rand) (ways [lanes]Way) {
	var pins []int
	for pin := range held.All() {
		pins = append(pins, pin)
	}
	for lane := range ways {
		favoured := pins[random.IntN(len(pins))]
		share := random.Float64()
		way := Way{pins[lane%len(pins)]}
		for len(way) < longest {
			pin := pins[random.IntN(len(pins))]
			if random.Float64() < share {
				pin = favoured
			}
			way = append(way, pin)
			if random.IntN(3) == 0 { // a pulse
				way = append(way, pin)
			}
		}
		ways[lane] = way[:longest]
	}
	return ways
}

// A runner is a part that goes 64 ways at once.
type runner struct {
	c      *logic.Circuit
	m      *logic.Machine
	weight float64 // its likelihood, that of the best being 1
	shown  [part.MaxPins + 1]logic.Word
}

// newRunner continues from the state that a part is in at the end of the trace, in all lanes.
func newRunner(f Fit, weight float64) *runner {
	g := f.model
	r := &runner{c: g.c, m: g.m.Clone(), weight: weight}
	state := make([]logic.Word, len(g.c.State))
	for i := range state {
		state[i] = logic.Splat(g.m.State(i).Lane(g.lane))
	}
	r.m.Restore(state)
	return r
}

func (r *runner) step(held part.Pins, level *[part.MaxPins + 1]uint64, opened part.Pins) {
	for range 2 { // what the chip drives may be an input of its own
		for _, pin := range r.c.InputPins {
			w := r.m.Out(pin)
			if held.Has(pin) {
				released := ^(w.Hi | w.Lo)
				w.Hi |= level[pin] & released
				w.Lo |= ^level[pin] & released
			}
			r.m.Set(pin, w)
		}
		r.m.Settle()
	}
	untold := r.untold(level)
	for pin := range opened.All() {
		p := r.c.Variant.Pins[pin-1]
		w := r.m.Out(pin)
		switch {
		case predicted(p, func() prediction { return prediction{} }).anything:
			w = logic.Splat(logic.X)
		case !p.Observable():
			w = logic.Word{}
		}
		if p.PullUp || p.Untested != "" { // it may stand high where it is released
			released := ^(w.Hi | w.Lo)
			w.Hi, w.Lo = w.Hi|released, w.Lo|released
		}
		w.Hi, w.Lo = w.Hi|untold, w.Lo|untold
		r.shown[pin] = w
	}
}

// untold gives the lanes in which the definition does not say what the part does.
func (r *runner) untold(level *[part.MaxPins + 1]uint64) (untold uint64) {
	for _, node := range r.c.Never {
		untold |= r.m.Node(node).Hi
	}
	for _, p := range r.c.Variant.Pins {
		switch p.Tied {
		case part.TiedLow:
			untold |= level[p.Number]
		case part.TiedHigh:
			untold |= ^level[p.Number]
		}
	}
	return untold
}

// differs gives the lanes in which two parts show different known levels at any pin.
func (r *runner) differs(other *runner, opened part.Pins) (lanes uint64) {
	for pin := range opened.All() {
		a, b := r.shown[pin], other.shown[pin]
		lanes |= ((a.Hi ^ b.Hi) | (a.Lo ^ b.Lo)) &^ (a.Hi & a.Lo) &^ (b.Hi & b.Lo)
	}
	return lanes
}
