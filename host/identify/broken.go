package identify

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"chipassay/host/assay"
	"chipassay/host/verdict"
	"chipassay/vectors/match"
)

// broken names the parts that explain the chip with one fault, and those that it may be
// but that it failed the test of; false where nothing comes near.
func (a *Answer) broken(p Plan, failed []tested) bool {
	blind := a.Record.Blind()
	for _, t := range failed {
		c := a.candidate(t.fit.Candidate)
		c.Bits = t.fit.Bits + faultBits
		if t.result.Verdict == verdict.Fail {
			c.Faults = []string{t.result.Cause}
		}
		a.Candidates = append(a.Candidates, c)
	}
	for _, f := range a.Record.RankBroken(p.Candidates, a.Open) {
		if len(a.Candidates) > 4*mostNamed || f.Mismatches > 0 || blind-f.Bits < leastGain || len(a.families(f.Variant)) == 0 || a.named(f.Variant) {
			continue
		}
		c := a.candidate(f.Candidate)
		c.Bits = f.Bits + faultBits
		for _, one := range f.Faults {
			c.Faults = append(c.Faults, one.In(f.Variant))
		}
		a.Candidates = append(a.Candidates, c)
	}
	slices.SortStableFunc(a.Candidates, func(x, y Candidate) int { return cmp.Compare(x.Bits, y.Bits) })
	a.Candidates = a.Candidates[:min(len(a.Candidates), mostNamed)]
	return len(a.Candidates) > 0
}

// testBroken tests the chip as the part that it most probably is, so that its own test
// says what is wrong.
func (a *Answer) testBroken(ctx context.Context, seat assay.Socket, failed []tested, p Plan) error {
	first := &a.Candidates[0]
	i := slices.IndexFunc(failed, func(t tested) bool { return t.fit.Variant == first.Variant })
	if i < 0 && !p.NoTest {
		for _, c := range p.Candidates {
			if c.Variant != first.Variant {
				continue
			}
			t, err := a.test(ctx, seat, []match.Fit{{Candidate: c}}, p)
			if err != nil {
				return err
			}
			failed, i = append(failed, t), len(failed)
			break
		}
	}
	if i < 0 {
		a.Verdict, a.Reason = verdict.Fail, fmt.Sprintf("probably a %v", first)
		return nil
	}
	t := failed[i]
	a.Test, first.Families = t.result, firstFamily(first.Families, t.family)
	a.Verdict, a.Reason = t.result.Verdict, cmp.Or(t.result.Cause, t.result.Reason)
	if t.result.Verdict.Passed() {
		a.doubt("it passes the test of a %s, but did not answer as one before", first.Part.Number)
	}
	return nil
}
