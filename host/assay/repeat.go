package assay

import (
	"context"
	"fmt"
	"slices"
	"time"
)

// A Repetition says how often a chip is tested again, to find what is intermittent.
type Repetition struct {
	Runs int           // at least so many
	Soak time.Duration // and at least so long
	// Progress, if set, is called after each run.
	Progress func(runs int, elapsed time.Duration)
}

// Repeat tests a chip again and again and joins the results: the first failing
// run, or else the last, with the number of runs and what failed in how many. A
// run that could not be finished ends it.
func Repeat(ctx context.Context, socket Socket, p Plan, again Repetition) *Result {
	started := time.Now()
	var kept *Result
	runs, failed, rounds := 0, 0, 0
	pins := map[int]int{}
	for runs == 0 || runs < again.Runs || time.Since(started) < again.Soak {
		r := Run(ctx, socket, p)
		if r.Verdict == NotTested {
			if runs > 0 {
				r.Reason = fmt.Sprintf("in run %d: %s", runs+1, r.Reason)
			}
			return r
		}
		runs++
		rounds += r.Rounds
		if r.Verdict == Fail {
			failed++
			for pin := range r.errorPins().All() {
				pins[pin]++
			}
		}
		if kept == nil || kept.Verdict != Fail {
			kept = r
		}
		if again.Progress != nil {
			again.Progress(runs, time.Since(started))
		}
	}
	kept.Runs, kept.RunsFailed = runs, failed
	kept.Started, kept.Duration = started, time.Since(started)
	if runs > 1 {
		kept.sayRuns(pins, rounds)
	}
	return kept
}

// sayRuns adds how often the chip failed, and at which pins; rounds are those of all runs.
func (r *Result) sayRuns(pins map[int]int, rounds int) {
	switch r.RunsFailed {
	case 0:
		if rounds > 0 {
			r.sayUnseen(rounds)
		}
		r.Reason += fmt.Sprintf(", in each of %d runs", r.Runs)
	case r.Runs:
		r.Findings = append(r.Findings, fmt.Sprintf("fails in each of %d runs", r.Runs))
	default:
		var at []int
		for pin := range pins {
			at = append(at, pin)
		}
		slices.Sort(at)
		text := fmt.Sprintf("intermittent: %d of %d runs", r.RunsFailed, r.Runs)
		for _, pin := range at {
			text += fmt.Sprintf(", %v in %d", &r.Type.Variant.Pins[pin-1], pins[pin])
		}
		r.Findings = append([]string{text}, r.Findings...)
		r.Reason = text + "; in the first of them " + r.Reason
	}
}
