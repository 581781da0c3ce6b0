package assay

import (
	"context"
	"fmt"
	"slices"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/fault"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A Settler lets each step settle as long as it is told. *adapter.Seat is one.
type Settler interface {
	ApplySettling(ctx context.Context, steps []stimulus.Step, bias adapter.Rail, settle time.Duration) ([]part.Pins, error)
}

// waits are how long the steps of a chip that failed settle when it is asked again,
// and lateSteps how many of them are.
var waits = []time.Duration{time.Microsecond, adapter.DefaultSettle, 20 * time.Microsecond, 100 * time.Microsecond, time.Millisecond}

const lateSteps = 500

// lateTrials is how often the engine is asked with each wait: what fails at random
// does not fail each time with one and never with the other.
const lateTrials = 3

// late asks a chip that failed again, with more and more time, and says which
// outputs follow late if it answers rightly from some wait on, and with each shorter
// one does not; else nothing.
func (r *Result) late(ctx context.Context, socket Socket, p Plan) (words string) {
	settler, ok := socket.(Settler)
	if !ok || r.Seating != nil {
		return ""
	}
	current := r.SupplyCurrentMA
	err := r.powered(ctx, socket, func() (err error) {
		if r.FailureCount == 0 { // it was only too late for the engine
			words, err = r.lateForEngine(ctx, socket, settler, p)
		} else {
			words, err = r.lateInSteps(ctx, settler, p)
		}
		return err
	})
	if r.SupplyCurrentMA = current; err != nil {
		return ""
	}
	return words
}

// lateInSteps asks step by step.
func (r *Result) lateInSteps(ctx context.Context, settler Settler, p Plan) (string, error) {
	steps := p.Sequence.Steps[:min(lateSteps, len(p.Sequence.Steps))]
	var late part.Pins
	var tooShort, enough time.Duration
	for _, wait := range waits {
		wrong, err := wrongAfter(ctx, settler, steps, wait)
		switch {
		case err != nil:
			return "", err
		case wrong == 0 && enough == 0:
			enough = wait
		case wrong != 0 && enough != 0:
			return "", nil // that was luck
		case wrong != 0:
			late, tooShort = wrong, wait
		}
	}
	if enough == 0 || tooShort < adapter.DefaultSettle { // with which it failed before
		return "", nil
	}
	return r.lateWords(late, tooShort, enough), nil
}

// lateForEngine asks the adapter's engine, which waits less.
func (r *Result) lateForEngine(ctx context.Context, socket Socket, settler Settler, p Plan) (string, error) {
	short := settleOf(p)
	for _, wait := range []time.Duration{short, adapter.DefaultSettle} {
		for range lateTrials {
			o := observerOf(ctx, socket, p)
			o.settle = wait
			for _, bias := range []adapter.Rail{adapter.High, adapter.Low} {
				if _, err := o.under(bias); err != nil {
					return "", err
				}
			}
			if (o.unsteady > 0) != (wait == short) {
				return "", nil
			}
		}
	}
	late, err := wrongAfter(ctx, settler, p.Sequence.Steps, waits[0])
	return r.lateWords(late, short, adapter.DefaultSettle), err
}

// wrongAfter gives the outputs that are wrong in any step when each settles for a wait.
func wrongAfter(ctx context.Context, settler Settler, steps []stimulus.Step, wait time.Duration) (wrong part.Pins, err error) {
	up, err := settler.ApplySettling(ctx, steps, adapter.High, wait)
	if err != nil {
		return 0, err
	}
	down, err := settler.ApplySettling(ctx, steps, adapter.Low, wait)
	if err != nil {
		return 0, err
	}
	for i, st := range steps {
		o := fault.Observation{PulledUp: up[i], PulledDown: down[i]}
		for pin := range st.Compared.All() {
			want, _ := st.Expect(pin)
			wrong = wrong.With(pin, wrong.Has(pin) || o.Value(pin) != want)
		}
	}
	return wrong, nil
}

// lateWords says what follows late, and by how much.
func (r *Result) lateWords(late part.Pins, tooShort, enough time.Duration) string {
	var names []string
	for pin := range late.All() {
		names = append(names, fmt.Sprintf("%d (%s)", pin, r.Type.Variant.Pins[pin-1].Name))
	}
	r.fail(slices.Collect(late.All())...)
	who, follow := "an output", "follows"
	if len(names) > 0 {
		who = plural("pin", names)
	}
	if len(names) > 1 {
		follow = "follow"
	}
	return fmt.Sprintf("%s %s late: wrong %g µs after a change, right after %g µs", who, follow, microseconds(tooShort), microseconds(enough))
}

func microseconds(d time.Duration) float64 { return float64(d) / float64(time.Microsecond) }
