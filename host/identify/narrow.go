package identify

import (
	"context"
	"math/rand/v2"
	"slices"

	"chipassay/host/probe"
	"chipassay/vectors/match"
)

// How long the search for a step that tells candidates apart goes on.
const (
	// farBehind, in bits, is how much less likely than the best a candidate is that is not
	// looked at any more: one in a million.
	farBehind = 20
	// mostRivals are as many candidates as are told apart at once.
	mostRivals = 24
	// fruitless is after how many searches, each twice as long as the one before, those
	// that are left count as alike.
	fruitless   = 4
	firstSearch = 8 // changes
	// mostChanges bounds the changes of pins, the regular ones apart.
	mostChanges = 600
)

// narrow changes pins, as tells best apart what is still possible, until nothing does, and
// gives what is left, the likeliest first.
func narrow(ctx context.Context, w *probe.Walker, p Plan) ([]match.Fit, error) {
	random := rand.New(rand.NewPCG(p.Seed, 1))
	trace := w.Record().Trace
	p.leftAfterRegular(trace)
	fits := rivals(trace.Rank(p.Candidates))
	for failed, changed := 0, 0; len(fits) > 1 && failed < fruitless && changed < mostChanges; {
		held, low := w.Held()
		way := trace.Split(fits, held, low, firstSearch<<failed, random)
		if len(way) == 0 {
			failed++
			continue
		}
		failed = 0
		changed += len(way)
		if err := w.Flip(ctx, way...); err != nil {
			return fits, err
		}
		trace = w.Record().Trace
		fits = rivals(trace.Rank(candidatesOf(fits)))
		p.leftAfter(trace, fits)
	}
	if slices.ContainsFunc(fits, func(f match.Fit) bool { return f.Mismatches == 0 && !f.LeavesOpen() }) {
		return fits, nil
	}
	// a broken chip, or one that is not known, shows more of itself in more steps
	err := w.Wander(ctx, wandering, random)
	fits = rivals(w.Record().Rank(p.Candidates))
	p.leftAfter(w.Record().Trace, fits)
	return fits, err
}

// wandering are the changes at random of a chip that no good part explains.
const wandering = 200

// rivals are the fits that are still possible: those nearly as likely as the best, and those
// that nothing contradicts, for a part of which little is told may still be the one.
func rivals(fits []match.Fit) (left []match.Fit) {
	for _, f := range fits {
		if len(left) < mostRivals && (f.Mismatches == 0 || f.Bits < fits[0].Bits+farBehind) {
			left = append(left, f)
		}
	}
	return left
}

func candidatesOf(fits []match.Fit) []match.Candidate {
	return slices.Collect(func(yield func(match.Candidate) bool) {
		for _, f := range fits {
			if !yield(f.Candidate) {
				return
			}
		}
	})
}
