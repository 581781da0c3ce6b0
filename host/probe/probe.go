// Package probe explores a powered chip of which nothing is known but its package and
// its supply pins, and records what it did, for vectors/match to compare with parts.
//
// Everything is held through resistors: the bias, 10 kΩ, and for bipolar inputs the load,
// 1 kΩ, beside it, because their own resistors pull them up. So an output that a pin
// turns out to be meets a resistor and no driver. The rules:
//
//   - Which pins may be inputs is found one at a time: with all pins biased high, each is
//     biased low alone. A pin that follows both ways is no output in that state.
//   - Only such pins are ever held. A pin that changes is driven for its edge, for some
//     microseconds, and then held.
//   - A bipolar input that the load does not pull low, and every one where no load is
//     fitted, is driven low through 120 Ω instead. While one is, each request changes one
//     pin, so that a contest lasts no longer than what one step reads.
//   - After every step each held pin is read. One that does not read as it is held is an
//     output, is released in the next request, and is held again only after it has
//     followed its bias both ways once more.
//   - One pin changes in a step, so that no order of arrival matters.
//
// The regular steps are fixed but for what the chip answers: two pulses of each pin from
// all pins high, more of a clock, the same from all pins low. Single changes follow, by
// random seed in Explore, or as the caller asks for them. The same chip gives the same trace.
package probe

import (
	"cmp"
	"context"
	"math/rand/v2"
	"slices"

	"chipassay/host/adapter"
	"chipassay/vectors/fault"
	"chipassay/vectors/match"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A Socket measures on a powered chip, by its pins. *adapter.Seat is one.
type Socket interface {
	Measure(ctx context.Context, steps []adapter.MeasureStep) ([]adapter.Measured, error)
	// Loads reports whether the load resistors are fitted.
	Loads() bool
}

// A Seat is what is known of the chip.
type Seat struct {
	Pins, VCC, GND int
	// Untouchable are pins that are never driven.
	Untouchable part.Pins
}

// SeatOf is what probing takes for known of a chip of a variant.
func SeatOf(v *part.Variant) Seat {
	return Seat{Pins: len(v.Pins), VCC: v.VCC(), GND: v.GND()}
}

// Turned is the seat of the same chip put in the other way round.
func (s Seat) Turned() Seat {
	s.VCC, s.GND = s.Opposite(s.VCC), s.Opposite(s.GND)
	return s
}

// Opposite is the pin that stands where a pin should, when the chip is put in the other way
// round.
func (s Seat) Opposite(pin int) int { return (pin+s.Pins/2-1)%s.Pins + 1 }

// Limits bound an exploration.
type Limits struct {
	Random int // single changes at random, after the regular steps; DefaultRandom where it is 0
	Seed   uint64
}

// DefaultRandom is how many single changes at random follow the regular steps.
const DefaultRandom = 120

// A Record is what an exploration found.
type Record struct {
	match.Trace
	Outputs part.Pins // that were seen to drive
	Inputs  part.Pins // that never were
	// Standing are the voltages at which the pins that followed their bias stood when
	// they were pulled low alone, V: near 0 for MOS inputs, and for TTL ones what their
	// own resistor makes of it. NaN where a pin was not measured or did not follow.
	Standing [part.MaxPins + 1]float64
	// Loaded are those at which bipolar inputs stood that the load, 1 kΩ, pulled low
	// beside the bias, V; NaN where a pin was not.
	Loaded [part.MaxPins + 1]float64
}

// Walked gives the steps after the first, in which directions were found: those in which
// every pin that may be an input is held. The open pins of each are compared.
func (r *Record) Walked() (steps []stimulus.Step, observed []fault.Observation) {
	signals := r.Signals()
	for _, s := range r.Steps[min(1+signals.Len(), len(r.Steps)):] {
		// a pin that reads otherwise than its resistor holds it is an output, and seen as one
		driven := s.High&s.PulledDown | s.Low&^s.PulledDown | s.Driven
		steps = append(steps, stimulus.Step{Driven: driven, Drive: s.High, Compared: signals &^ driven})
		observed = append(observed, fault.Observation{PulledUp: s.PulledUp, PulledDown: s.PulledDown})
	}
	return steps, observed
}

// Explore takes the regular steps and then some at random. With an error it gives what
// was seen before; the caller switches off.
func Explore(ctx context.Context, socket Socket, seat Seat, limits Limits) (*Record, error) {
	w, err := Begin(ctx, socket, seat)
	if err != nil {
		return w.Record(), err
	}
	if err := w.Regular(ctx, Pulses); err != nil {
		return w.Record(), err
	}
	return w.Record(), w.Wander(ctx, cmp.Or(limits.Random, DefaultRandom), rand.New(rand.NewPCG(limits.Seed, 0)))
}

// Wander takes about so many single changes at random.
func (w *Walker) Wander(ctx context.Context, changes int, random *rand.Rand) error {
	for changes > 0 {
		flips := w.drawn(random, perRequest)
		if len(flips) == 0 {
			return nil
		}
		changes -= len(flips)
		if err := w.Flip(ctx, flips...); err != nil {
			return err
		}
	}
	return nil
}

// drawn draws changes: rarely of pins that were outputs once, and now and then a few
// pulses of one pin.
func (w *Walker) drawn(random *rand.Rand, n int) (flips []int) {
	inputs := slices.Collect((w.held &^ w.record.Outputs).All())
	turned := slices.Collect((w.held & w.record.Outputs).All())
	for len(flips) < n {
		from := inputs
		if len(turned) > 0 && (len(inputs) == 0 || random.IntN(6) == 0) {
			from = turned
		}
		if len(from) == 0 {
			return nil
		}
		pin := from[random.IntN(len(from))]
		flips = append(flips, pin)
		if random.IntN(4) == 0 {
			flips = append(flips, pin, pin, pin, pin)
		}
	}
	return flips
}
