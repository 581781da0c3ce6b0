package assay

import (
	"fmt"
	"math"
)

// A Grade is what a buyer may rely on.
type Grade string

// The grades, best first.
const (
	Strong   Grade = "strong"
	Sound    Grade = "sound"
	Doubtful Grade = "doubtful"
	Reject   Grade = "reject"
	Ungraded Grade = "" // not tested
)

// room is the stated margin of the best grade: a tenth of the limit, and for a
// high level a tenth of what lies between the limit and the supply.
const room = 0.10

// Criteria are the grades and what they ask for, for every report.
var Criteria = []struct {
	Grade Grade
	Asks  string
}{
	{Strong, "every vector right, and every output level and input current inside its data-sheet limit by a tenth of it and the tester's uncertainty"},
	{Sound, "every vector right, and every level inside its limit by the tester's uncertainty"},
	{Doubtful, "every vector right, but a level is outside its limit, or so near that the tester cannot tell, or an output's level was not measured"},
	{Reject, "a vector is wrong"},
}

// Uncertainty says what the tester's own error is made of, for every report.
const Uncertainty = "two steps of the 10-bit converter (10 mV), load resistors within 1 %, drive resistance within 8 %"

// A Standing is how a reading stands to its limit.
type Standing uint8

// The standings, best first. A reading that has no limit, or whose limit is
// below what the tester resolves and that shows nothing, stands Unlimited.
const (
	Roomy     Standing = iota // inside by the stated margin and the uncertainty
	Inside                    // inside by the uncertainty
	Near                      // the uncertainty spans the limit
	Outside                   // outside by the uncertainty
	Unlimited                 // nothing to compare with
)

func (s Standing) String() string {
	return [...]string{"well inside", "inside", "too near the limit to tell", "outside", "no limit"}[s]
}

// Standing compares a reading with its limit. Under more load than the limit is
// rated for, only a reading inside it tells something.
func (r Reading) Standing() Standing {
	inside, spare := r.Limit-r.Value, r.Limit*room
	if r.Quantity == VOH {
		inside, spare = r.Value-r.Limit, (railVolts-r.Limit)*room
	}
	resolved := r.Quantity == VOL || r.Quantity == VOH || r.Limit > r.Uncertainty
	switch {
	case math.IsNaN(r.Limit), !resolved && math.Abs(r.Value) <= 2*r.Uncertainty:
		return Unlimited
	case inside >= spare+r.Uncertainty:
		return Roomy
	case inside >= r.Uncertainty:
		return Inside
	case inside >= 0 && r.Uncertainty > r.Limit*room && r.Quantity != VOH:
		return Unlimited // the tester is too coarse for this limit
	case r.LoadMA > r.RatedMA*1.1:
		return Unlimited
	case inside > -r.Uncertainty:
		return Near
	}
	return Outside
}

// GradeOf grades a chip by its verdict and its levels, nil where none were
// measured, and says why it is not the best grade.
func GradeOf(v Verdict, l *Levels) (g Grade, reasons []string) {
	switch {
	case v == Fail:
		return Reject, []string{"a vector is wrong"}
	case v != Pass:
		return Ungraded, nil
	case l == nil:
		return Doubtful, []string{"no level was measured"}
	}
	worst := Strong
	for _, r := range l.Readings {
		switch s := r.Standing(); s {
		case Outside, Near:
			if l.LowSupply && (r.Quantity == VOL || r.Quantity == VOH) {
				if worst == Strong {
					worst = Sound
				}
				reasons = append(reasons, r.String()+", which with so low a supply is not held against the chip")
				continue
			}
			worst = Doubtful
			reasons = append(reasons, r.String()+", "+s.String())
		case Inside:
			if worst == Strong {
				worst = Sound
			}
			reasons = append(reasons, r.String()+", with little room")
		}
	}
	if l.Unloaded {
		if worst == Strong {
			worst = Sound
		}
		reasons = append(reasons, withoutLoads)
	}
	if len(l.Held) > 0 {
		worst = Doubtful
		reasons = append(reasons, l.Held...)
	}
	if n := l.unmeasuredOutputs(); n > 0 {
		worst = Doubtful
		reasons = append(reasons, fmt.Sprintf("%d output levels were not measured", n))
	}
	if l.Family != "" {
		worst = Doubtful
		reasons = append(reasons, l.Family)
	}
	return worst, reasons
}

// unmeasuredOutputs counts the output levels that stand in Unmeasured.
func (l *Levels) unmeasuredOutputs() (n int) {
	for _, text := range l.Unmeasured {
		if len(text) > 3 && (text[:3] == "VOL" || text[:3] == "VOH") {
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
