package assay

import (
	"fmt"
	"slices"
	"strings"

	"chipassay/vectors/fault"
	"chipassay/vectors/part"
)

// sound gives the verdict of a chip that answered every vector right: pass, if the
// vectors ask enough of it. Each section, a gate or all that hangs together, must
// have all its outputs expected at both of their levels, all its inputs shown to
// matter, and nearly all detectable faults shown. Where only some sections come up
// to that, and the definition says why the others do not, the pass is partial.
func (r *Result) sound(p Plan) {
	v := r.Type.Variant
	var short []fault.Section // sections below the floor
	pins := untestedPins(v)
	explained := true
	untested := len(v.Untested)
	if v.Use != "" {
		untested-- // what the use leaves out explains its own pins alone
	}
	for _, s := range p.Coverage.Sections {
		if s.Whole() {
			continue
		}
		short = append(short, s)
		pins |= s.Pins
		explained = explained && (s.Untested != 0 || untested > 0 || len(s.Unreached) > 0)
	}
	if len(short) == len(p.Coverage.Sections) || !explained {
		r.unshownOnly = true
		r.notTested(r.unshown(short))
		return
	}
	right := fmt.Sprintf("all %d vectors answered as in the data sheet", r.VectorsApplied)
	r.Verdict, r.Reason = Pass, right
	r.Partial = slices.Collect(pins.All())
	switch {
	case v.Use != "":
		r.Reason = fmt.Sprintf("%swith %s only: %s", inPart, v.Use, right)
	case len(r.Partial) > 0:
		verb, hint := "is", ""
		if slices.ContainsFunc(v.Timings, func(t part.Timing) bool { return pins&part.PinSet(t.Outputs()...) != 0 }) {
			hint = r.capacitorHint()
		}
		if len(r.Partial) > 1 {
			verb = "are"
		}
		r.Reason = fmt.Sprintf("%s%s %s not tested; of the others, %s%s", inPart, v.Named(pins), verb, right, hint)
	}
	r.GatesSound = gateNames(v, func(g part.Gate) bool {
		return !slices.ContainsFunc(short, func(s fault.Section) bool { return s.Pins&part.PinSet(g.Pins...)&^shared(v) != 0 })
	})
}

// inPart begins the reason of a partial pass.
const inPart = "in part: "

// InPart reports from the reason of a pass whether it is a partial one, where that is all
// that is known of it.
func InPart(reason string) bool { return strings.HasPrefix(reason, inPart) }

// unshown says why right answers to every vector are no pass: what the vectors do not
// reach and what that would need, and what was seen all the same.
func (r *Result) unshown(short []fault.Section) string {
	seen := fmt.Sprintf("all %d vectors were right", r.VectorsApplied)
	if r.VectorsApplied == 1 {
		seen = "the one vector was right"
	}
	unreached := slices.ContainsFunc(short, func(s fault.Section) bool { return len(s.Unreached) > 0 })
	if untested := r.Type.Variant.Untested; len(untested) > 0 && !unreached {
		return fmt.Sprintf("%s; %s%s", untested[0].Why, seen, r.capacitorHint())
	}
	text := fmt.Sprintf("the vectors show too little of the chip: %s; %s", lacking(short), seen)
	if unreached {
		text += "; test it with --long"
	}
	return text
}

// capacitorHint says how to time what a capacitor times.
func (r *Result) capacitorHint() string {
	timings := r.Type.Variant.Timings
	if len(timings) == 0 {
		return ""
	}
	value := "100n"
	if timings[0].BelowGround(r.Type.Family) != "" {
		value = "1n"
	}
	switch below := value == "1n"; {
	case timings[0].Resistor[0] != 0 && below:
		value += " --resistor 100k" // the less flows into the clamps, and pulses are long enough to act in
	case timings[0].Resistor[0] != 0:
		value += " --resistor 10k"
	}
	return "; with a capacitor to clip on, add --capacitor " + value
}

// untestedPins are the signal pins that the definition leaves out, and those that are
// held at one level for a test for one use.
func untestedPins(v *part.Variant) (pins part.Pins) {
	for _, p := range v.Pins {
		leftOut := p.Untested != "" || v.Held(p.Number)
		pins = pins.With(p.Number, leftOut && (p.Signal() || p.Role == part.External))
	}
	return pins
}

// shared are the pins that belong to several gates.
func shared(v *part.Variant) (pins part.Pins) {
	var seen part.Pins
	for _, g := range v.Gates {
		own := part.PinSet(g.Pins...)
		pins |= seen & own
		seen |= own
	}
	return pins
}

// lacking says what is missing of sections, the first thing of the first of them, and
// of how many more.
func lacking(sections []fault.Section) string {
	if len(sections) == 0 || len(sections[0].Lacking) == 0 {
		return "no output changes in any step"
	}
	text := sections[0].Lacking[0]
	if name := sections[0].Name; name != "" {
		text = "in gate " + name + " " + text
	}
	if more := len(sections) - 1; more > 0 {
		text += fmt.Sprintf(", and likewise in %d more", more)
	}
	return text
}
