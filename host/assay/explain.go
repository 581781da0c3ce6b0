package assay

import (
	"fmt"
	"slices"
	"strings"

	"chipassay/vectors/fault"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// explain says a failure in the bench's words: which gate, which pins, under
// which inputs, what was expected and seen, and what would cause just that.
func (r *Result) explain(c *logic.Circuit, s *stimulus.Sequence, observed []fault.Observation, errs map[int]int) {
	v := r.Type.Variant
	bad := func(g part.Gate) bool {
		return slices.ContainsFunc(g.Pins, func(pin int) bool { return errs[pin] > 0 && v.Pins[pin-1].Observable() })
	}
	r.GatesFailed = gateNames(v, bad)
	r.GatesSound = gateNames(v, func(g part.Gate) bool { return !bad(g) })
	for _, pin := range slices.Clone(r.PinsFailed) {
		r.Findings = append(r.Findings, r.firstError(pin, errs[pin]))
	}
	best := bestCauses(fault.Diagnose(c, r.Type.Family, s, observed))
	if len(best) == 0 {
		r.Findings = append(r.Findings, "no single fault of a pin explains all of this: more than one pin, the die, or another part in the socket")
	} else {
		r.Findings = append(r.Findings, causeWords(v, best))
		for _, cause := range best {
			for pin := range cause.Fault.Pins().All() {
				if !slices.Contains(r.PinsFailed, pin) {
					r.PinsFailed = append(r.PinsFailed, pin)
				}
			}
		}
		slices.Sort(r.PinsFailed)
	}
	if len(r.GatesSound) > 0 {
		r.Findings = append(r.Findings, plural("gate", r.GatesSound)+" answered every vector rightly")
	}
	r.Reason = r.Findings[0]
	if len(best) > 0 {
		r.Reason = causeWords(v, best)
	}
}

// firstError tells a pin's first error, and how many there are.
func (r *Result) firstError(pin, count int) string {
	v := r.Type.Variant
	at := slices.IndexFunc(r.Failures, func(f Failure) bool { return f.Pin == pin })
	where := fmt.Sprintf("pin %d (%s)", pin, v.Pins[pin-1].Name)
	if g := v.GateOf(pin); g != "" {
		where = fmt.Sprintf("gate %s, %s", g, where)
	}
	total := fmt.Sprintf("wrong in %d of %d vectors", count, r.VectorsPlanned)
	if at < 0 {
		return where + ": " + total
	}
	f := r.Failures[at]
	return fmt.Sprintf("%s: %s where %s is expected, with %s (step %d); %s", where, letter(f.Observed), letter(f.Expected), f.Inputs, f.Step, total)
}

// bestCauses keeps the causes that foretell most.
func bestCauses(causes []fault.Cause) []fault.Cause {
	for i, c := range causes {
		if c.Unknown != causes[0].Unknown {
			return causes[:i]
		}
	}
	return causes
}

// causeWords joins causes that no vector can tell apart.
func causeWords(v *part.Variant, causes []fault.Cause) string {
	var words []string
	for _, c := range causes {
		words = append(words, c.Fault.In(v))
	}
	if len(words) == 1 {
		return words[0]
	}
	return strings.Join(words, ", or ") + " (no vector tells these apart)"
}

// gateNames lists the gates for which a condition holds.
func gateNames(v *part.Variant, holds func(part.Gate) bool) []string {
	names := []string{}
	for _, g := range v.Gates {
		if holds(g) {
			names = append(names, g.Name)
		}
	}
	return names
}

// plural writes "gate 3" or "gates 1, 2 and 3".
func plural(word string, names []string) string {
	if len(names) == 1 {
		return word + " " + names[0]
	}
	last := len(names) - 1
	return word + "s " + strings.Join(names[:last], ", ") + " and " + names[last]
}

// untested lists what an assay of this type cannot tell.
func untested(typ part.Type) []string {
	list := []string{
		"speed: propagation delay, setup and hold times, maximum clock frequency",
		"behaviour over temperature and at the limits of the supply voltage; the test runs at 5 V and room temperature",
		"output levels under load, input currents",
	}
	for _, u := range typ.Variant.Untested {
		text := u.Why
		for i, pin := range u.Pins {
			sep := ", "
			if i == 0 {
				sep = ": pin "
			}
			text += fmt.Sprintf("%s%d (%s)", sep, pin, typ.Variant.Pins[pin-1].Name)
		}
		list = append(list, text)
	}
	return list
}
