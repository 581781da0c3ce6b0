package assay

import (
	"fmt"
	"math"

	"chipassay/host/assay/levels"
	"chipassay/vectors/part"
)

// leastPulledUp, V, is below what an open input with a resistor to the supply never
// stands: the resistor carries no more than the input's leakage. An input without
// one floats at 1.4 to 2 V where it is bipolar, and anywhere where it is MOS.
// Source: common practice.
const leastPulledUp = 2.5

// pullUps lists the inputs that have a resistor to the supply inside.
func pullUps(v *part.Variant) (pins part.Pins) {
	for _, p := range v.Pins {
		pins = pins.With(p.Number, p.PullUp && p.Role == part.Input && p.Untested == "")
	}
	return pins
}

// missingPullUps gives the inputs whose resistor is not seen, of those that were
// measured open, and those that were not measured.
func (r *Result) missingPullUps() (missing, unmeasured part.Pins) {
	unmeasured = pullUps(r.Type.Variant)
	if r.Levels == nil {
		return 0, unmeasured
	}
	for _, reading := range r.Levels.Readings {
		if reading.Quantity != levels.Open || !unmeasured.Has(reading.Pin) || math.IsNaN(reading.Value) {
			continue
		}
		unmeasured = unmeasured.With(reading.Pin, false)
		missing = missing.With(reading.Pin, reading.Value < leastPulledUp)
	}
	return missing, unmeasured
}

// judgePullUps fails a chip whose vectors are right but whose resistors are not
// there, and says which were not looked at. It reports whether it failed.
func (r *Result) judgePullUps(p Plan) bool {
	missing, unmeasured := r.missingPullUps()
	if unmeasured != 0 {
		r.NotTested = append(r.NotTested, "the pull-up resistors inside at "+r.Type.Variant.Named(unmeasured))
	}
	if missing == 0 {
		return false
	}
	r.Verdict = Fail
	r.Reason = fmt.Sprintf("no internal pull-up at %s: open, it is below %.1f V", r.Type.Variant.Named(missing), leastPulledUp)
	// one resistor breaks; that all of them do is less likely than a part that has none
	if also := p.Coverage.Intruders; len(also) > 0 && missing.Len() > 1 {
		found := r.Reason
		r.isAnother(byDistance(r.Type, also, r.parts(p)))
		r.Findings = append(r.Findings, found)
		return true
	}
	r.fail(missing)
	return true
}

// judgeDifferential fails a chip whose vectors are right but of which an input of a balanced
// line has no effect by itself, and says which were not looked at. It reports whether it failed.
func (r *Result) judgeDifferential() bool {
	var alone, dead, all part.Pins
	for _, p := range r.Type.Variant.Pins {
		all = all.With(p.Number, p.Opposite != 0 && p.Untested == "")
	}
	if r.Levels != nil {
		alone, dead = r.Levels.Alone, r.Levels.Dead
	}
	if left := all &^ alone; left != 0 {
		r.NotTested = append(r.NotTested, "whether the inputs at "+r.Type.Variant.Named(left)+" have an effect each: driven apart, one of two is enough")
	}
	if dead == 0 {
		return false
	}
	r.Verdict = Fail
	r.Reason = fmt.Sprintf("with the opposite input released, the output does not follow %s", r.Type.Variant.Named(dead))
	r.fail(dead)
	return true
}
