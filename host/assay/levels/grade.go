package levels

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"chipassay/host/verdict"
)

// room is the stated margin of the best grade: a tenth of the limit, and for a
// high level a tenth of the distance between the limit and the supply.
const room = 0.10

// Uncertainty says what the tester's own error is made of, for every report.
const Uncertainty = "two steps of the 10-bit converter (10 mV), load resistors within 1 %, drive resistance within 8 %"

// A Standing is how a reading stands to its limit.
type Standing uint8

// The standings, best first.
const (
	Roomy     Standing = iota // inside by the stated margin and the uncertainty
	Inside                    // inside by the uncertainty
	Near                      // the uncertainty spans the limit
	Outside                   // outside by the uncertainty
	Unlimited                 // the data sheet gives no limit
	NotJudged                 // the tester does not resolve the limit, or the load is above the limit's
)

func (s Standing) String() string {
	return [...]string{"well inside", "inside", "too near to judge", "outside", "no limit", "not judged"}[s]
}

// Standing compares a reading with its limit. Under more load than the limit is
// rated for, only a reading inside it is conclusive.
func (r Reading) Standing() Standing {
	inside, spare := r.Limit-r.Value, r.Limit*room
	if r.Quantity == VOH {
		inside, spare = r.Value-r.Limit, (railVolts-r.Limit)*room
	}
	resolved := r.Quantity == VOL || r.Quantity == VOH || r.Limit > r.Uncertainty
	switch {
	case math.IsNaN(r.Limit):
		return Unlimited
	case !resolved && math.Abs(r.Value) <= 2*r.Uncertainty:
		return NotJudged
	case inside >= spare+r.Uncertainty:
		return Roomy
	case inside >= r.Uncertainty:
		return Inside
	case inside >= 0 && r.Uncertainty > r.Limit*room && r.Quantity != VOH:
		return NotJudged // the tester is too coarse for this limit
	case r.LoadMA > r.RatedMA*1.1:
		return NotJudged
	case inside > -r.Uncertainty:
		return Near
	}
	return Outside
}

// Outside reports whether a reading at a pin is outside its limit, and held against the
// chip: an output's level is not where the supply was low. Of nil nothing is.
func (l *Levels) Outside(pin int) bool {
	return l != nil && slices.ContainsFunc(l.Readings, func(r Reading) bool {
		excused := l.LowSupply && (r.Quantity == VOL || r.Quantity == VOH)
		return r.Pin == pin && r.Standing() == Outside && !excused
	})
}

// Grade grades a chip by its verdict and its levels, nil where none were measured. It
// says why the grade is not the best, and what is wrong with a chip whose every vector
// was right. What was not measured is not held against the chip.
func Grade(v verdict.Verdict, l *Levels) (g verdict.Grade, reasons, but []string) {
	switch {
	case v == verdict.Fail:
		return verdict.Reject, []string{"a vector is wrong"}, nil
	case !v.Passed():
		return verdict.None, nil, nil
	case l == nil:
		return verdict.FunctionOnly, []string{"no level was measured"}, nil
	}
	g = verdict.Strong
	lower := func(to verdict.Grade, why string) {
		if to.Rank() > g.Rank() {
			g = to
		}
		if !slices.Contains(reasons, why) {
			reasons = append(reasons, why)
		}
	}
	for _, r := range l.Readings {
		level := r.Quantity == VOL || r.Quantity == VOH
		switch s := r.Standing(); {
		case (s == Outside || s == Near) && l.LowSupply && level:
			lower(verdict.Sound, r.String()+"; not held against the chip, because the supply is low")
		case s == Outside:
			lower(verdict.Doubtful, r.String()+", outside")
			but = append(but, r.String())
		case s == Near:
			lower(verdict.Doubtful, r.String()+", "+s.String())
		case s == Inside:
			lower(verdict.Sound, r.String()+", with little margin")
		case level && s == Roomy:
			if to, why := r.atRated(); why != "" {
				lower(to, why)
			}
		}
	}
	if l.Unloaded {
		lower(verdict.Sound, withoutLoads)
	}
	if n := l.unmeasuredOutputs(); n > 0 {
		lower(verdict.FunctionOnly, fmt.Sprintf("%d output levels were not measured", n))
	}
	for _, wrong := range l.Held {
		lower(verdict.Doubtful, wrong)
		but = append(but, wrong)
	}
	if l.Family != "" { // before the levels, which follow from it
		lower(verdict.Doubtful, l.Family)
		but = append([]string{l.Family}, but...)
	}
	return g, reasons, but
}

// nearlyRated is the share of the rated load from which on a level is taken to be measured
// at it.
const nearlyRated = 0.9

// atRated says what a level that is well inside its limit is worth at its rated load,
// where it was measured under less: nothing where it is as good there. Of two loads the
// output's resistance is known, and the level is extrapolated by it; else the grade has a
// condition.
func (r Reading) atRated() (verdict.Grade, string) {
	condition := fmt.Sprintf("%s at %.1f of rated %g mA", r.Quantity, r.LoadMA, r.RatedMA)
	switch {
	case r.LoadMA == 0 || r.LoadMA >= nearlyRated*r.RatedMA:
		return verdict.Strong, ""
	case r.OhmsUncertainty == 0:
		return verdict.Sound, condition + " only"
	}
	more := r.RatedMA - r.LoadMA // mA
	rated := r
	drop := more*r.Ohms/1000 + r.Knee*math.Log(r.RatedMA/r.LoadMA)
	if r.Quantity == VOH {
		drop = -drop
	}
	rated.LoadMA, rated.Value = r.RatedMA, r.Value+drop
	rated.Uncertainty += more * r.OhmsUncertainty / 1000
	words := fmt.Sprintf("pin %d: %s; extrapolated to that load %.2f ± %.2f V", r.Pin, condition, rated.Value, rated.Uncertainty)
	switch s := rated.Standing(); s {
	case Outside:
		return verdict.Doubtful, words + ", outside"
	case Near:
		return verdict.Sound, words + ", too near to judge"
	case Inside:
		return verdict.Sound, words + ", with little margin"
	}
	return verdict.Strong, ""
}

// unmeasuredOutputs counts the output levels listed in Unmeasured.
func (l *Levels) unmeasuredOutputs() (n int) {
	for _, text := range l.Unmeasured {
		if strings.HasPrefix(text, "VOL") || strings.HasPrefix(text, "VOH") {
			n++
		}
	}
	return n
}

func (r Reading) String() string {
	where := fmt.Sprintf("pin %d: ", r.Pin)
	if r.Pin == 0 {
		where = ""
	}
	unit, digits := "mA", 3
	if r.Quantity == VOL || r.Quantity == VOH || r.Quantity == Open {
		unit, digits = "V", 2
	}
	text := fmt.Sprintf("%s%s %.*f ± %.*f %s", where, r.Quantity, digits, r.Value, digits, r.Uncertainty, unit)
	if !math.IsNaN(r.Limit) {
		bound := "at most"
		if r.Quantity == VOH {
			bound = "at least"
		}
		text += fmt.Sprintf(" (%s %.*f %s)", bound, digits, r.Limit, unit)
	}
	if r.LoadMA > 0 {
		text += fmt.Sprintf(" at %.2f of rated %g mA", r.LoadMA, r.RatedMA)
	}
	return text
}
