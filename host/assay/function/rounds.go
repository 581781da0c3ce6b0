// Package function asks a powered chip every vector of its sequence, under both levels of
// the bias, in rounds; and looks again at what was wrong: at levels between the adapter's
// low and high, and with more time. How readbacks are compared by signature is that of
// MIL-STD-883 method 5012.
package function

import (
	"context"
	"fmt"
	"slices"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/fault"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A Socket applies steps to a powered chip, by its own pin numbers. *adapter.Seat is one.
type Socket interface {
	// Apply applies steps with the bias at a level and gives the pins that read high.
	Apply(ctx context.Context, steps []stimulus.Step, bias adapter.Pull) ([]part.Pins, error)
	// ApplySettling lets each step settle for a given time.
	ApplySettling(ctx context.Context, steps []stimulus.Step, bias adapter.Pull, settle time.Duration) ([]part.Pins, error)
	// Can says whether the adapter sweeps and walks, and which driven pins it reads truly.
	Can() adapter.Abilities
	// Sweep applies a sweep of pins and gives the spans that did not read as expected.
	Sweep(ctx context.Context, steps []stimulus.Step, pins []int, settle time.Duration, e adapter.Expected, bias adapter.Pull) ([]adapter.Span, error)
	// Walk applies steps that drive the same pins and reports whether they read as expected.
	Walk(ctx context.Context, steps []stimulus.Step, settle time.Duration, e adapter.Expected, bias adapter.Pull) (bool, error)
	// Watch times the edges of a pin.
	Watch(ctx context.Context, w adapter.Watch) (adapter.Watched, error)
	// Spent gives how much of the adapter's time was asked for so far.
	Spent() time.Duration
}

// Vectors are what a type of logic is asked, and how.
type Vectors struct {
	Type     part.Type
	Circuit  *logic.Circuit
	Sequence *stimulus.Sequence
	// EveryReadback asks for every readback instead of signatures.
	EveryReadback bool
	// AtLeast is for how long of the adapter's time the vectors go round, to find
	// what comes and goes; 0 is one round.
	AtLeast time.Duration
}

// A Readback is what the vectors showed.
type Readback struct {
	Observed   []fault.Observation // of the last round, in the order of the sequence
	Rounds     int                 // that were begun; one with an error is the last
	Wrong      bool                // the last round had an error
	Misread    bool                // some step of it was, with the usual wait
	Fleeting   bool                // the first round's errors were not there when the vectors were applied again
	Unsteady   int                 // steps, under either bias, in blocks with a wrong signature that read right when they were repeated
	UnsteadyAt []adapter.Span      // these blocks, ascending
	Undecided  part.Pins           // whose level was neither a low nor a high: their vectors are not judged
	Hurried    Hurried             // what was shown with a short wait
	Comparison string              // how readbacks were compared: one by one, or by signatures
}

// Later reports whether an error came after a round without one. One that only a short wait shows
// was there in each round.
func (b *Readback) Later() bool { return b.Rounds > 1 && b.Wrong && !b.Hurried.wrong }

// Intermittent reports whether an error comes and goes: a fault that stays, or another part in the socket, is
// wrong in every round.
func (b *Readback) Intermittent() bool { return b.Later() || b.Fleeting }

// quickOrder bounds what one order of a sweep may take, so that it is applied in both.
const quickOrder = 500 * time.Millisecond

// Read applies all steps, under both levels of the bias, in rounds: one, and
// others after it while the vectors ask for it, with the supply on. A sequence begins
// with all state unknown, so it holds in each round.
func Read(ctx context.Context, socket Socket, v Vectors) (b Readback, err error) {
	o := newObserver(ctx, socket, v)
	forward, backward := o.steps, v.backwards()
	began := socket.Spent()
	for again := true; again; {
		b.Rounds++
		turned := b.Rounds%2 == 0 && backward != nil
		if o.steps = forward; turned {
			o.steps = backward
		}
		b.Observed, err = o.round()
		if turned {
			slices.Reverse(b.Observed)
			o.passed = turnedSpans(o.passed, len(forward))
		}
		spent := socket.Spent() - began
		if b.Rounds == 1 && spent >= quickOrder {
			backward = nil
		}
		b.Misread = o.wrong
		b.Wrong = o.wrong || o.passed != nil
		again = err == nil && !b.Wrong && v.AtLeast > 0 &&
			(spent < v.AtLeast || b.Rounds == 1 && backward != nil)
	}
	b.Comparison = o.comparison()
	switch {
	case err == nil && b.Rounds == 1 && b.Misread && v.AtLeast > 0 && socket.Spent()-began < quickOrder:
		b.Fleeting, err = o.fleeting(v, b.Observed)
	case err == nil && !b.Wrong:
		o.steps = forward
		if b.Hurried, err = o.hurry(v); b.Hurried.wrong {
			o.passed, b.Wrong = []adapter.Span{{From: 0, To: len(forward)}}, true
		}
	}
	for _, span := range o.passed {
		b.Unsteady += span.To - span.From
	}
	b.UnsteadyAt = ascending(o.passed)
	if err != nil && b.Rounds > 1 {
		err = fmt.Errorf("in round %d: %w", b.Rounds, err)
	}
	return b, err
}

// fleeting applies the vectors again after a first round with errors, and reports whether they are gone: all, or most of them.
// What remembers may err by the state that it came up in: the second round is then held against a third, which begins alike.
func (o *observer) fleeting(v Vectors, first []fault.Observation) (bool, error) {
	defer func(passed []adapter.Span) { o.passed = passed }(o.passed)
	second, err := o.round()
	if err != nil || !o.wrong {
		return err == nil, err
	}
	if len(v.Circuit.Registers) > 0 {
		first = second
		if second, err = o.round(); err != nil {
			return false, err
		}
	}
	had, same := 0, 0
	for i, st := range o.steps {
		judged := st.Compared | st.Driven&o.sensed
		if Wrong(st, first[i], judged) != 0 {
			had++
			if Wrong(st, second[i], judged) != 0 {
				same++
			}
		}
	}
	return rarely*same <= had, nil
}

// rarely is the part of the errors of one round that another may share, where they come and go.
const rarely = 4

// backwards is the sequence in reverse where that is as good: it is a sweep of a
// part that remembers nothing. Else nil.
func (v Vectors) backwards() []stimulus.Step {
	if _, swept := stimulus.Swept(v.Sequence.Steps); !swept || len(v.Circuit.Registers) > 0 {
		return nil
	}
	steps := slices.Clone(v.Sequence.Steps)
	slices.Reverse(steps)
	return steps
}

// turnedSpans are spans of n steps in reverse, in the order of the sequence.
func turnedSpans(spans []adapter.Span, n int) (turned []adapter.Span) {
	for _, s := range slices.Backward(spans) {
		turned = append(turned, adapter.Span{From: n - s.To, To: n - s.From})
	}
	return turned
}

// ascending puts spans of two levels of the bias rail in their order, each once.
func ascending(spans []adapter.Span) []adapter.Span {
	slices.SortFunc(spans, func(a, b adapter.Span) int { return a.From - b.From })
	return slices.Compact(spans)
}
