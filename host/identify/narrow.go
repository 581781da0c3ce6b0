package identify

import (
	"context"
	"slices"

	"chipassay/vectors/match"
	"chipassay/vectors/proof"
)

// The bounds of the search for steps that tell candidates apart.
const (
	// farBehind, in bits, is how far behind the best a candidate is dropped: at one in a million.
	farBehind = 20
	// mostRivals is how many candidates are told apart at once.
	mostRivals = 24
	// fruitless is how many searches in a row, each twice as long as the one before, may fail
	// before the candidates that are left count as alike.
	fruitless   = 4
	firstSearch = 8 // changes
	// mostChanges bounds the changes of pins after the regular ones.
	mostChanges = 600
	// mostCycles bounds how often the power is cycled.
	mostCycles = 2
)

// narrow makes the changes that best tell apart what is still possible, until none does, and
// keeps what is left, the likeliest first.
func (s *stranger) narrow(ctx context.Context, candidates []match.Candidate) error {
	s.plan.leftAfterRegular(s.walk.Record().Trace)
	s.fits = rivals(s.walk.Record().Rank(candidates))
	for failed, changed := 0, 0; len(s.fits) > 1 && changed < mostChanges; {
		if failed == fruitless {
			if s.cycles == mostCycles || !s.stuck() {
				break
			}
			if err := s.cycle(ctx); err != nil {
				return err
			}
			failed = 0
		}
		held, low := s.walk.Held()
		way := s.walk.Record().Split(s.fits, held, low, firstSearch<<failed, s.random)
		if len(way) == 0 {
			failed++
			continue
		}
		failed = 0
		changed += len(way)
		if err := s.walk.Flip(ctx, way...); err != nil {
			return err
		}
		s.fits = rivals(s.walk.Record().Rank(candidatesOf(s.fits)))
		s.plan.leftAfter(s.walk.Record().Trace, s.fits)
	}
	if slices.ContainsFunc(s.fits, func(f match.Fit) bool { return f.Mismatches == 0 && !f.LeavesOpen() }) {
		return nil
	}
	// a broken chip, or an unknown one, shows more of itself in more steps
	return s.wander(ctx, candidates)
}

// stuck reports whether parts with a state are left that their tests tell apart, though no
// step does from what is known of their states.
func (s *stranger) stuck() bool {
	first := s.fits[0]
	return first.Remembers() && !first.LeavesOpen() && slices.ContainsFunc(s.fits[1:], func(f match.Fit) bool {
		return f.Remembers() && !f.LeavesOpen() && !proof.SameFunction(first.Variant, f.Variant)
	})
}

// wandering is how many changes at random a chip gets that no good part explains.
const wandering = 200

func (s *stranger) wander(ctx context.Context, candidates []match.Candidate) error {
	s.wandered = true
	err := s.walk.Wander(ctx, wandering, s.random)
	s.fits = rivals(s.walk.Record().Rank(candidates))
	s.plan.leftAfter(s.walk.Record().Trace, s.fits)
	return err
}

// rivals are the fits that are still possible: those nearly as likely as the best, and those
// that nothing contradicts, since a part that predicts little may still be the one.
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
