package assay

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/fault"
	"chipassay/vectors/stimulus"
)

// DefaultAtLeast is for how long of the adapter's time the vectors go round: a
// small chip is tested dozens of times, and a person does not wait for it.
const DefaultAtLeast = 250 * time.Millisecond

// quickOrder bounds what one order of a sweep may take, so that it is applied in both.
const quickOrder = 500 * time.Millisecond

// observe applies all steps, under both levels of the bias rail, in rounds: one, and
// others after it while the plan asks for it, with the supply on. A sequence begins
// with all state unknown, so it holds in each round. What was observed is that of the
// last round, in the order of the sequence; one with an error is the last.
func (r *Result) observe(ctx context.Context, socket Socket, p Plan) (observed []fault.Observation, err error) {
	o := newObserver(ctx, socket, p)
	forward, backward := o.steps, backwards(p)
	began := socket.Spent()
	for again := true; again; {
		r.Rounds++
		turned := r.Rounds%2 == 0 && backward != nil
		if o.steps = forward; turned {
			o.steps = backward
		}
		observed, err = o.round()
		if turned {
			slices.Reverse(observed)
			o.passed = turnedSpans(o.passed, len(forward))
		}
		spent := socket.Spent() - began
		if r.Rounds == 1 && spent >= quickOrder {
			backward = nil
		}
		r.wrong = o.wrong || o.passed != nil
		again = err == nil && !r.wrong && p.AtLeast > 0 &&
			(spent < p.AtLeast || r.Rounds == 1 && backward != nil)
	}
	r.Unsteady, r.unsteadyAt, r.Comparison = o.unsteady(), ascending(o.passed), o.comparison()
	switch {
	case err != nil && r.Rounds > 1:
		err = fmt.Errorf("in round %d: %w", r.Rounds, err)
	case err == nil && !r.wrong:
		r.sayUnseen(r.Rounds)
	}
	return observed, err
}

// backwards is the sequence in reverse where that is as good: it is a sweep of a
// part that remembers nothing. Else nil.
func backwards(p Plan) []stimulus.Step {
	if _, swept := stimulus.Swept(p.Sequence.Steps); !swept || len(p.Circuit.Registers) > 0 {
		return nil
	}
	steps := slices.Clone(p.Sequence.Steps)
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

// rareFaults begins what is said of faults that come and go too rarely.
const rareFaults = "faults that come and go"

// sayUnseen lists under not tested what so many rounds without an error cannot
// find. After n vectors without an error, fewer than one of n/3 is wrong, at 95 %
// confidence (rule of three: Hanley and Lippman-Hand, JAMA 249, 1983; from memory).
func (r *Result) sayUnseen(rounds int) {
	r.NotTested = slices.DeleteFunc(r.NotTested, func(text string) bool { return strings.HasPrefix(text, rareFaults) })
	applied := rounds * r.VectorsPlanned
	text := rareFaults
	if rarest := applied / 3; rarest > 1 {
		text += fmt.Sprintf(" and show in fewer than one of %d vectors", rarest)
	}
	text += fmt.Sprintf(" (%d applied", applied)
	if rounds > 1 {
		text += fmt.Sprintf(", in %d rounds", rounds)
	}
	r.NotTested = append(r.NotTested, text+")")
}

// sayRound says of a chip that failed after a round without an error in which round,
// at which pins and in which steps. The causes of its reason come and go already.
func (r *Result) sayRound() {
	if r.Verdict != Fail || !r.laterRound() {
		return
	}
	text := "fails only sometimes: right in round 1"
	if r.Rounds > 2 {
		text = fmt.Sprintf("fails only sometimes: right in rounds 1 to %d", r.Rounds-1)
	}
	text += fmt.Sprintf(", wrong in round %d ", r.Rounds)
	switch {
	case r.FailureCount == 0:
		r.Reason = text + "by signature, in " + stepWords(r.unsteadyAt) + "; read back one by one these were right"
		return
	case r.Reason == unexplained: // by a fault that stays
		r.Findings = slices.DeleteFunc(r.Findings, func(finding string) bool { return finding == unexplained })
		r.Reason = text + r.failureWords()
	}
	r.Findings = append([]string{text + r.failureWords()}, r.Findings...)
}

// laterRound tells whether an error came after a round without one.
func (r *Result) laterRound() bool { return r.Rounds > 1 && r.wrong }

// takenOut tells whether the chip, which was there, is so no more.
func (r *Result) takenOut(ctx context.Context, socket Socket) bool {
	_, ok := socket.(Prober)
	return ok && !r.present(ctx, socket)
}

// mostSteps is how many steps a sentence names.
const mostSteps = 6

// failureWords says where the listed failures are: "at pin 12 (6Y), in steps 3, 7 and 40".
func (r *Result) failureWords() string {
	pins := map[int]bool{}
	var steps []adapter.Span
	for _, f := range r.Failures { // in the order of their steps
		pins[f.Pin] = true
		if span := (adapter.Span{From: f.Step - 1, To: f.Step}); !slices.Contains(steps, span) {
			steps = append(steps, span)
		}
	}
	var names []string
	for _, pin := range slices.Sorted(maps.Keys(pins)) {
		names = append(names, fmt.Sprintf("%d (%s)", pin, r.Type.Variant.Pins[pin-1].Name))
	}
	return "at " + plural("pin", names) + ", in " + stepWords(steps)
}

// stepWords names steps, counted from 1: "step 3", "steps 3 and 17 to 32", and how many
// more there are.
func stepWords(spans []adapter.Span) string {
	var names []string
	steps, named := 0, 0
	for _, s := range spans {
		steps += s.To - s.From
		if len(names) == mostSteps {
			continue
		}
		named = steps
		name := fmt.Sprint(s.From + 1)
		if s.To > s.From+1 {
			name += fmt.Sprintf(" to %d", s.To)
		}
		names = append(names, name)
	}
	if steps > named {
		names = append(names, fmt.Sprintf("%d more", steps-named))
	}
	if steps > 1 && len(names) == 1 {
		return "steps " + names[0]
	}
	return plural("step", names)
}
