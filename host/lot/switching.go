package lot

import (
	"errors"
	"fmt"
	"slices"
)

// ErrDiscontinued says that the scheme has stopped: five lots were rejected on
// tightened inspection, and no lot is accepted by it until the supplier has acted.
var ErrDiscontinued = errors.New("lot: inspection was discontinued after five lots rejected on tightened inspection")

// The rules' numbers, ISO 2859-1:1999 clause 9.
const (
	rejectedOfLots  = 2  // lots rejected on normal inspection, of
	consecutiveLots = 5  // consecutive ones or fewer, lead to tightened
	acceptedInTurn  = 5  // lots accepted in turn on tightened lead back to normal
	rejectedToStop  = 5  // lots rejected on tightened, in all, end the scheme
	ScoreForReduced = 30 // switching score from which reduced inspection begins
	scoreLargeAc    = 3  // points of a lot whose plan has Ac 2 or more
	scoreSmallAc    = 2  // and of one whose plan has Ac 0 or 1
	smallestLargeAc = 2
)

// A Scheme is where a series of lots of one kind from one source stands. The
// zero Scheme is the start: normal inspection. Its rules are those of ISO
// 2859-1:1999, clauses 9.3 and 9.4. To reduced inspection they switch by a score,
// where MIL-STD-105E and the first edition of ISO 2859-1 add up nonconforming
// chips over ten lots and compare with limit numbers (Table VIII).
type Scheme struct {
	// ReduceBy is the table for reduced inspection. Reduced inspection is never
	// obligatory: empty keeps the scheme from it. The standard asks besides for
	// production at a steady rate, which salvaged chips do not have.
	ReduceBy Severity

	current  Severity
	score    int    // switching score, on normal inspection
	recent   []bool // accepted or not, of the last lots on normal inspection
	accepted int    // lots accepted in turn on tightened inspection
	rejected int    // lots rejected on tightened inspection, in all
}

// Severity is what the next lot is to be inspected by.
func (s Scheme) Severity() Severity {
	if s.current == "" {
		return Normal
	}
	return s.current
}

// Score is the switching score: reduced inspection begins at 30.
func (s Scheme) Score() int { return s.score }

// Discontinued reports whether the scheme has stopped; see ErrDiscontinued.
func (s Scheme) Discontinued() bool { return s.rejected >= rejectedToStop }

// After returns the scheme after a lot that was inspected for the first time by
// plan: a lot handed in again does not count. The lot must be decided.
func (s Scheme) After(plan Plan, tested, nonconforming int) (Scheme, error) {
	if s.Discontinued() {
		return s, ErrDiscontinued
	}
	if plan.Severity != s.Severity() {
		return s, fmt.Errorf("lot: the plan is for %s inspection, the scheme is at %s", plan.Severity, s.Severity())
	}
	decision := Decide(plan, tested, nonconforming)
	if decision == GoOn {
		return s, errors.New("lot: the lot is not decided")
	}
	accepted := decision == Accept
	switch s.Severity() {
	case Normal:
		return s.afterNormal(plan, tested, nonconforming, accepted), nil
	case Tightened:
		return s.afterTightened(accepted), nil
	}
	if !accepted || plan.ReinstatesNormal(nonconforming) {
		return s.at(Normal), nil
	}
	return s, nil
}

// afterNormal applies 9.3.1 (to tightened: 2 of 5 or fewer consecutive lots
// rejected) and 9.3.3 (to reduced: the switching score is 30 or more).
func (s Scheme) afterNormal(plan Plan, tested, nonconforming int, accepted bool) Scheme {
	s.recent = append(slices.Clone(s.recent), accepted)
	if len(s.recent) > consecutiveLots {
		s.recent = s.recent[1:]
	}
	rejected := 0
	for _, ok := range s.recent {
		if !ok {
			rejected++
		}
	}
	if rejected >= rejectedOfLots {
		return s.at(Tightened)
	}
	s.score = s.scoreAfter(plan, tested, nonconforming, accepted)
	if s.score >= ScoreForReduced && s.ReduceBy != "" {
		return s.at(s.ReduceBy)
	}
	return s
}

// scoreAfter is the switching score for single sampling, 9.3.3.2: with Ac 2 or
// more a lot earns 3 if it would have been accepted at the AQL one step tighter,
// with Ac 0 or 1 it earns 2 if it is accepted; any other lot sets it to 0. A
// sample that was broken off earns only what its rest could not have changed.
func (s Scheme) scoreAfter(plan Plan, tested, nonconforming int, accepted bool) int {
	if plan.Accept < smallestLargeAc {
		if accepted {
			return s.score + scoreSmallAc
		}
		return 0
	}
	if tighter, ok := plan.oneStepTighter(); ok && Decide(tighter, tested, nonconforming) == Accept {
		return s.score + scoreLargeAc
	}
	return 0
}

// oneStepTighter is the plan with the same sample at the next smaller AQL. Left of
// a plan with Ac 2 or more there always is one; left of the others may be an arrow.
func (p Plan) oneStepTighter() (Plan, bool) {
	table := masterTables()[p.Severity]
	row := slices.Index(table.letters, p.UsedLetter)
	column := slices.Index(table.aqls, p.AQL)
	if column == 0 || table.cells[row][column-1].step != 0 {
		return Plan{}, false
	}
	tighter := table.cells[row][column-1]
	p.AQL, p.Accept, p.Reject = table.aqls[column-1], tighter.accept, tighter.reject
	return p, true
}

// afterTightened applies 9.3.2 (back to normal after 5 lots accepted in turn) and
// 9.4 (discontinued at 5 lots rejected, though others between were accepted).
func (s Scheme) afterTightened(accepted bool) Scheme {
	if !accepted {
		s.accepted = 0
		s.rejected++
		return s
	}
	s.accepted++
	if s.accepted >= acceptedInTurn {
		return s.at(Normal)
	}
	return s
}

// at begins at a severity, with nothing remembered.
func (s Scheme) at(severity Severity) Scheme {
	return Scheme{ReduceBy: s.ReduceBy, current: severity}
}

// Resumed returns the scheme after the supplier has acted on a discontinuation:
// tightened inspection, counted afresh.
func (s Scheme) Resumed() Scheme { return s.at(Tightened) }

// Reinstated returns the scheme with normal instead of reduced inspection, for
// a production that became irregular or another reason to be careful.
func (s Scheme) Reinstated() Scheme {
	if s.Severity() == Reduced || s.Severity() == Reduced105E {
		return s.at(Normal)
	}
	return s
}
