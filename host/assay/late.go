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
	ApplySettling(ctx context.Context, steps []stimulus.Step, bias adapter.Pull, settle time.Duration) ([]part.Pins, error)
}

// waits are how long the steps of a chip that failed settle when it is asked again,
// the shortest as before; lateSteps how many steps are, with those up to the first
// error; and lateBudget for how long at most.
var waits = []time.Duration{adapter.DefaultSettle, 20 * time.Microsecond, 100 * time.Microsecond, time.Millisecond}

const (
	lateSteps  = 250
	lateBudget = time.Second
)

// lateTrials is how often the engine is asked with each wait: what fails at random
// does not fail each time with one and never with the other.
const lateTrials = 4

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

// lateInSteps asks step by step, with the longest wait first: a chip that is wrong
// then is not late. What is late is so in the same steps again.
func (r *Result) lateInSteps(ctx context.Context, settler Settler, p Plan) (string, error) {
	steps := p.Sequence.Steps[:min(r.Failures[0].Step+lateSteps, len(p.Sequence.Steps))]
	var late []part.Pins
	var tooShort, enough time.Duration
	for _, wait := range slices.Backward(waits) {
		if 2*wait*time.Duration(len(steps)) > lateBudget {
			continue
		}
		wrong, err := wrongAfter(ctx, settler, steps, wait)
		switch {
		case err != nil:
			return "", err
		case union(wrong) != 0 && enough == 0, union(wrong) == 0 && tooShort != 0:
			return "", nil // it fails always, or at random
		case union(wrong) == 0:
			enough = wait
		case tooShort == 0:
			late, tooShort = wrong, wait
		}
	}
	if tooShort == 0 {
		return "", nil
	}
	once, err := wrongAfter(ctx, settler, steps, tooShort)
	if err != nil || !sameSteps(late, once) {
		return "", err
	}
	return r.lateWords(union(late), tooShort, enough), nil
}

// lateForEngine asks the adapter's engine, which waits less.
func (r *Result) lateForEngine(ctx context.Context, socket Socket, settler Settler, p Plan) (string, error) {
	short := settleOf(p)
	if short >= adapter.DefaultSettle { // with which it was answered rightly step by step
		return "", nil
	}
	for _, wait := range []time.Duration{short, adapter.DefaultSettle} {
		for range lateTrials {
			o := newObserver(ctx, socket, p)
			o.settle = wait
			if _, err := o.round(); err != nil {
				return "", err
			}
			wrong := o.passed != nil || o.wrong
			if wrong != (wait == short) {
				return "", nil
			}
		}
	}
	wrong, err := wrongAfter(ctx, settler, p.Sequence.Steps, time.Microsecond)
	return r.lateWords(union(wrong), short, adapter.DefaultSettle), err
}

// wrongAfter gives the outputs that are wrong in each step when it settles for a wait.
func wrongAfter(ctx context.Context, settler Settler, steps []stimulus.Step, wait time.Duration) ([]part.Pins, error) {
	up, err := settler.ApplySettling(ctx, steps, adapter.High, wait)
	if err != nil {
		return nil, err
	}
	down, err := settler.ApplySettling(ctx, steps, adapter.Low, wait)
	if err != nil {
		return nil, err
	}
	return wrongIn(steps, up, down), nil
}

// wrongIn gives the outputs that read wrongly in each step.
func wrongIn(steps []stimulus.Step, up, down []part.Pins) []part.Pins {
	wrong := make([]part.Pins, len(steps))
	for i, st := range steps {
		o := fault.Observation{PulledUp: up[i], PulledDown: down[i]}
		for pin := range st.Compared.All() {
			want, _ := st.Expect(pin)
			wrong[i] = wrong[i].With(pin, o.Value(pin) != want)
		}
	}
	return wrong
}

// sameSteps tells whether three quarters of the steps that were wrong once or twice were
// so twice: the first ones may hang on what was before.
func sameSteps(first, second []part.Pins) bool {
	once, twice := 0, 0
	for i := range first {
		if first[i]|second[i] != 0 {
			once++
		}
		if first[i]&second[i] != 0 {
			twice++
		}
	}
	return 4*twice >= 3*once
}

func union(sets []part.Pins) (all part.Pins) {
	for _, pins := range sets {
		all |= pins
	}
	return all
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
