// Package probe explores a powered chip of which only the package and the supply pins are
// known, and records what it did, for vectors/match to compare with parts.
//
// Pins are held through resistors: the bias, 10 kΩ, and for bipolar inputs, which pull
// themselves up, the load of 1 kΩ as well. A pin that turns out to be an output meets a
// resistor and no driver. The rules:
//
//   - Pins that may be inputs are found one at a time: with all pins biased high, each is
//     biased low alone. A pin that follows both ways is no output in that state.
//   - Only such pins are held. A pin that changes is driven for its edge, for some
//     microseconds, and then held.
//   - A bipolar input that the load does not pull low, every bipolar input where no load is
//     fitted, and a MOS input that a resistor inside pulls up, is driven low through 120 Ω.
//     While one is, each request changes one pin.
//   - After every step each held pin is read. One that does not read as it is held is an
//     output. It is released in the next request, and held again only after it has followed
//     its bias both ways once more.
//   - One pin changes in a step, so that no order of arrival matters.
//
// The regular steps depend only on what the chip answers: two pulses of each pin from all
// pins high, more of a clock, and the same from all pins low. Single changes follow, at
// random in Explore, or as the caller asks for them. The same chip gives the same trace.
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
	// Can says whether the adapter loads pins.
	Can() adapter.Abilities
}

// A Seat is a package and its supply pins.
type Seat struct {
	Pins, VCC, GND int
	// Untouchable are pins that are never driven.
	Untouchable part.Pins
}

// SeatOf is the seat of a variant.
func SeatOf(v *part.Variant) Seat {
	return Seat{Pins: len(v.Pins), VCC: v.VCC(), GND: v.GND()}
}

// Turned is the seat that a chip appears to have when it is put in backwards.
func (s Seat) Turned() Seat {
	s.VCC, s.GND = s.Opposite(s.VCC), s.Opposite(s.GND)
	return s
}

// Opposite is the pin that takes the place of a pin when the chip is put in backwards.
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
	Inputs  part.Pins // that never did
	// Standing are the voltages, V, of pins that followed their bias when they were pulled low
	// alone: near 0 for MOS inputs, and for TTL ones what their own resistor makes of it. NaN
	// where a pin was not measured or did not follow.
	Standing [part.MaxPins + 1]float64
	// Loaded are the voltages, V, of bipolar inputs that the load, 1 kΩ, pulled low beside the
	// bias; NaN for other pins.
	Loaded [part.MaxPins + 1]float64
}

// Walked gives the steps after those that found the directions: the ones in which every pin
// that may be an input is held. The open pins of each are compared.
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

// Explore takes the regular steps and then some at random. On an error it gives what was seen
// before it. The caller switches off.
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

// Wander takes about as many single changes at random as it is asked for.
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

// drawn draws changes: now and then a few pulses of one pin, and rarely of a pin that was an
// output once.
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
