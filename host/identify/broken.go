package identify

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"chipassay/host/assay"
	"chipassay/host/verdict"
	"chipassay/vectors/fault"
	"chipassay/vectors/match"
	"chipassay/vectors/part"
)

// hintBits, in bits, is what a point of the hint is worth to a broken part: a marking is seldom
// wrong (common practice).
const hintBits = 5

// broken names the parts that explain the chip with one fault, among them those whose test it
// failed. It reports whether there are any.
func (a *Answer) broken(failed []tested) bool {
	blind := a.Record.Blind()
	for _, t := range failed {
		fits := a.Record.Rank([]match.Candidate{t.fit.Candidate})
		if len(fits) == 0 || fits[0].Mismatches > 0 { // what it has done since contradicts it
			continue
		}
		c := a.candidate(t.fit.Candidate)
		c.Bits = fits[0].Bits + faultBits
		if t.result.Verdict == verdict.Fail {
			c.Faults = []string{t.result.Cause}
		}
		a.Candidates = append(a.Candidates, c)
	}
	for _, f := range a.Record.RankBroken(a.plan.Candidates, a.known()) {
		if len(a.Candidates) > 4*mostNamed || f.Mismatches > 0 || blind-f.Bits < leastGain || len(a.families(f.Variant)) == 0 || a.named(f.Variant) || a.drives(f) {
			continue
		}
		c := a.candidate(f.Candidate)
		c.Bits = f.Bits + faultBits
		for _, one := range f.Faults {
			c.Faults = append(c.Faults, one.In(f.Variant))
		}
		c.odd = true
		a.Candidates = append(a.Candidates, c)
	}
	price := func(c Candidate) float64 { return c.Bits - hintBits*float64(a.plan.Hint.agrees(c.Variant)) }
	slices.SortStableFunc(a.Candidates, func(x, y Candidate) int { return cmp.Compare(price(x), price(y)) })
	a.Candidates = a.Candidates[:min(len(a.Candidates), mostNamed)]
	return len(a.Candidates) > 0
}

// testBroken tests the chip as the likeliest parts, until the test of one explains all that is
// wrong with it. That part comes first.
func (a *Answer) testBroken(ctx context.Context, seat assay.Socket, failed []tested) error {
	first := &a.Candidates[0]
	if a.plan.NoTest {
		a.Verdict, a.Reason = verdict.Fail, fmt.Sprintf("probably a %v", first)
		return nil
	}
	var best *tested
	at := 0
	for i, c := range a.Candidates[:min(len(a.Candidates), mostBrokenTests)] {
		t, err := a.asBroken(ctx, seat, c, failed)
		if err != nil {
			return err
		}
		if explained := a.explained(c, t.result); best == nil || explained {
			best, at = &t, i
			if explained {
				break
			}
		}
	}
	c := a.Candidates[at]
	a.Candidates = slices.Insert(slices.Delete(a.Candidates, at, at+1), 0, c)
	a.Test, a.Candidates[0].Families = best.result, firstFamily(c.Families, best.family)
	a.Verdict, a.Reason = best.result.Verdict, cmp.Or(best.result.Cause, best.result.Reason)
	if a.Verdict == verdict.Fail {
		a.blame(c, best.result)
	}
	if best.result.Verdict.Passed() {
		a.doubt("it passes the test of a %s, but did not answer as one before", c.Part.Number)
	}
	return nil
}

// drives reports whether an input of a part, but for those of its faults, was seen to drive. Some
// definitions leave open what the part does at the levels that were applied; its test would drive
// an output all the same.
func (a *Answer) drives(f match.BrokenFit) bool {
	return slices.ContainsFunc(f.Variant.Pins, func(p part.Pin) bool {
		faulty := slices.ContainsFunc(f.Faults, func(one fault.Fault) bool { return one.Pin == p.Number })
		return p.Role == part.Input && !faulty && a.Record.Outputs.Has(p.Number)
	})
}

// leastShare is how much of what a chip did a broken part must explain for the chip to be called
// faulty: a good chip that the library lacks resembles some broken part, too.
const leastShare = 1. / 3

// leastFaultGain, in bits, is how much it must explain at least: a chip that hardly answers
// resembles many dead parts.
const leastFaultGain = 3 * leastGain

// explained reports whether the test as a part explains all that is wrong with the chip: by a
// fault of one pin that explains the probing as well, or, where the probing showed a good part,
// by a fault inside. Where probing shows little of a part, since the part's data sheet forbids such
// steps, the test or the marking must speak for it.
func (a *Answer) explained(c Candidate, r *assay.Result) bool {
	blind := a.Record.Blind()
	little := blind-c.Bits+faultBits < max(leastFaultGain, leastShare*blind)
	if !r.Explained() || little && !mostlyRight(r) && !a.plan.Hint.names(c.Variant) {
		return false
	}
	if len(r.Causes()) == 0 {
		return !c.odd
	}
	return len(a.culprits(c, r)) > 0
}

// mostlyRight reports whether more than half of the outputs were right in all vectors of a test.
func mostlyRight(r *assay.Result) bool {
	right, outputs := 0, 0
	for _, p := range r.Type.Variant.Pins {
		if p.Observable() && p.Untested == "" {
			outputs++
			if !slices.Contains(r.PinsFailed, p.Number) {
				right++
			}
		}
	}
	return 2*right > outputs
}

// culprits are the faults of one pin that explain the probing as well as the test.
func (a *Answer) culprits(c Candidate, r *assay.Result) (faults []fault.Fault) {
	for _, cause := range r.Causes() {
		f := cause.Faults[0]
		if cause.Sometimes { // a floating input
			f.Kind = fault.Open
		}
		if len(cause.Faults) == 1 && f.Kind != fault.Short && a.Record.Explains(a.matched(c.Variant), f, a.known()) {
			faults = append(faults, f)
		}
	}
	return faults
}

// matched is a part as a candidate of the plan.
func (a *Answer) matched(v *part.Variant) match.Candidate {
	return a.plan.Candidates[slices.IndexFunc(a.plan.Candidates, func(c match.Candidate) bool { return c.Variant == v })]
}

// mostBrokenTests is how many parts a broken chip is tested as.
const mostBrokenTests = 3

// asBroken tests the chip as a candidate, unless that was done before.
func (a *Answer) asBroken(ctx context.Context, seat assay.Socket, c Candidate, failed []tested) (tested, error) {
	for _, t := range failed {
		if t.fit.Variant == c.Variant {
			return t, nil
		}
	}
	return a.test(ctx, seat, []match.Fit{{Candidate: a.matched(c.Variant)}})
}
