package identify

import (
	"fmt"
	"slices"

	"chipassay/vectors/match"
)

// nearest is the part that the chip answers as but for some pins, if it explains enough: of two
// dead gates, of a short, of an output that is slow or weak, the others show what it is.
func (a *Answer) nearest() *match.NearFit {
	blind := a.Record.Blind()
	var best *match.NearFit
	price := func(f match.NearFit) float64 { return f.Bits - hintBits*float64(a.plan.Hint.agrees(f.Variant)) }
	for _, f := range a.Record.RankNearly(a.plan.Candidates, a.known()) {
		if len(a.families(f.Variant)) > 0 && blind-f.Bits >= max(leastFaultGain, leastShare*blind) && (best == nil || price(f) < price(*best)) {
			best = &f
		}
	}
	return best
}

// betterNearly reports whether the nearest part explains far more than the likeliest with one fault.
func (a *Answer) betterNearly() bool {
	return a.Nearest != nil && a.Nearest.Bits+farBehind < a.Candidates[0].Bits
}

// nearestFirst names the nearest part before those with one fault, which explain less.
func (a *Answer) nearestFirst() {
	if a.Nearest == nil {
		return
	}
	c := a.candidate(a.Nearest.Candidate)
	c.Bits, c.Faults = a.Nearest.Bits, []string{c.Variant.Named(a.Nearest.But) + " answers otherwise"}
	if a.Nearest.But.Len() > 1 {
		c.Faults[0] = c.Variant.Named(a.Nearest.But) + " answer otherwise"
	}
	rest := slices.DeleteFunc(a.Candidates, func(o Candidate) bool { return o.Variant == c.Variant })
	a.Candidates = append([]Candidate{c}, rest...)
	a.Candidates = a.Candidates[:min(len(a.Candidates), mostNamed)]
}

// unexplained says that no part explains the chip, and what is known of it all the same.
func (a *Answer) unexplained(format string, args ...any) string {
	known := fmt.Sprintf(format, args...)
	if a.Nearest == nil {
		return "no part of the library explains it; " + known
	}
	v := a.Nearest.Variant
	return fmt.Sprintf("it answers as a %s but for %s; %s", v.Part.Number, v.Named(a.Nearest.But), known)
}
