package identify

import (
	"fmt"
	"slices"
	"strings"

	"chipassay/host/assay"
	"chipassay/host/verdict"
	"chipassay/vectors/fault"
	"chipassay/vectors/part"
)

// blame decides whether a chip that failed the test as a part is called faulty. A good chip that
// the library lacks fails it, too, and may differ from the part just as a fault would make it:
// the twin with an open-collector output, the counter without the load input. So the chip is
// faulty where its marking names the part, or where it is at odds with itself: one of several
// alike pins is dead, and no part is made so.
func (a *Answer) blame(c Candidate, r *assay.Result) {
	// the test alone may suggest what probing contradicts
	if faults := a.culprits(c, r); len(faults) > 0 && faults[0] != r.Causes()[0].Faults[0] {
		a.Reason = faults[0].In(c.Variant)
	}
	switch {
	case !a.explained(c, r):
		a.Verdict = verdict.NotTested
		a.Reason = fmt.Sprintf("no part of the library explains it; the nearest is a %v, and no single fault explains all that was seen", c)
	case !a.plan.Hint.names(c.Variant) && !a.atOdds(c, r):
		a.Verdict = verdict.NotTested
		a.Reason = fmt.Sprintf("a faulty %s, or a good part that the library lacks: %s", c.Part.Number, a.Reason)
	}
}

// atOdds reports whether each fault that explains the chip sets a pin apart from others that are
// like it, or is an input that has no contact, as was measured before power: a part without that
// input would have to be the same in all else. A failure without wrong vectors is one of levels or of speed, by the data sheet.
func (a *Answer) atOdds(c Candidate, r *assay.Result) bool {
	faults := a.culprits(c, r)
	if len(faults) == 0 {
		return r.FailureCount == 0
	}
	return !slices.ContainsFunc(faults, func(f fault.Fault) bool { return !a.Open.Has(f.Pin) && !unsound(c.Variant, f) })
}

// fewestAlike is how many inputs of one name a part has at least of which each must act: a
// data word may have four bits, and none is made of three and an idle pin.
const fewestAlike = 4

// unsound reports whether no part is made as one with a fault is.
func unsound(v *part.Variant, f fault.Fault) bool {
	p := v.Pins[f.Pin-1]
	switch {
	case twinGate(v, f.Pin):
		return true
	case !p.Observable():
		return alikeNames(v, p) >= fewestAlike
	case f.Kind == fault.StuckLow, f.Kind == fault.StuckHigh: // an output of one level is none
		return true
	}
	return alikeNames(v, p) > 1
}

// twinGate reports whether a pin belongs to one gate, and the part has another with as many pins.
func twinGate(v *part.Variant, pin int) bool {
	own := slices.IndexFunc(v.Gates, func(g part.Gate) bool { return slices.Contains(g.Pins, pin) })
	return own >= 0 && !slices.ContainsFunc(v.Gates[own+1:], func(g part.Gate) bool { return slices.Contains(g.Pins, pin) }) &&
		slices.ContainsFunc(v.Gates, func(g part.Gate) bool {
			return g.Name != v.Gates[own].Name && len(g.Pins) == len(v.Gates[own].Pins)
		})
}

// alikeNames is how many pins do the same as one for another bit: their names differ in a number
// or in the letter at their end.
func alikeNames(v *part.Variant, p part.Pin) (n int) {
	for _, o := range v.Pins {
		if o.Role == p.Role && o.Stage == p.Stage && stem(o.Name) == stem(p.Name) {
			n++
		}
	}
	return n
}

// stem is the name of a pin without what numbers it: "Q" of Q0, QA and /Q7, "Y" of 1Y, and ""
// of the letters that number inputs themselves.
func stem(name string) string {
	name = strings.TrimPrefix(name, "/")
	name = strings.Trim(name, "0123456789")
	if last := len(name) - 1; last >= 0 && len(name) <= 2 && name[last] >= 'A' && name[last] <= 'H' {
		name = name[:last]
	}
	return name
}
