package assay

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
)

// DefaultAtLeast is for how long of the adapter's time the vectors go round: a
// small chip is tested dozens of times, and a person does not wait for it.
const DefaultAtLeast = 250 * time.Millisecond

// rareFaults begins the words for faults that come and go too rarely.
const rareFaults = "intermittent faults"

// sayUnseen lists under not tested what so many rounds without an error cannot
// find. After n vectors without an error, fewer than one of n/3 is wrong, at 95 %
// confidence (rule of three: Hanley and Lippman-Hand, JAMA 249, 1983; from memory).
func (r *Result) sayUnseen(rounds int) {
	r.NotTested = slices.DeleteFunc(r.NotTested, func(text string) bool { return strings.HasPrefix(text, rareFaults) })
	applied := rounds * r.VectorsPlanned
	text := rareFaults
	if rarest := applied / 3; rarest > 1 {
		text += fmt.Sprintf(" that show in fewer than one of %d vectors", rarest)
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
	if r.Verdict != Fail || !r.read.Intermittent() {
		return
	}
	text := "intermittent: right in round 1"
	if r.Rounds > 2 {
		text = fmt.Sprintf("intermittent: right in rounds 1 to %d", r.Rounds-1)
	}
	text += fmt.Sprintf(", wrong in round %d ", r.Rounds)
	if r.read.Fleeting {
		text = "intermittent: right when applied again, wrong at first "
	}
	switch {
	case r.FailureCount == 0:
		r.Reason = text + "by signature, in " + stepWords(r.read.UnsteadyAt) + "; read back one by one these were right"
		return
	case r.Reason == unexplained: // by a fault that stays
		r.Findings = slices.DeleteFunc(r.Findings, func(finding string) bool { return finding == unexplained })
		r.Reason = text + r.failureWords()
	}
	r.Findings = append([]string{text + r.failureWords()}, r.Findings...)
}

// mostSteps is how many steps a sentence names.
const mostSteps = 6

// failureWords says where the listed failures are: "at pin 12 (6Y), in steps 3, 7 and 40".
func (r *Result) failureWords() string {
	var steps []adapter.Span
	for _, f := range r.Failures { // in the order of their steps
		if span := (adapter.Span{From: f.Step - 1, To: f.Step}); !slices.Contains(steps, span) {
			steps = append(steps, span)
		}
	}
	return "at " + r.Type.Variant.Named(r.errorPins()) + ", in " + stepWords(steps)
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
	return part.Listed("step", names)
}
