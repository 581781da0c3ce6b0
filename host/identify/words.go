package identify

import (
	"slices"

	"chipassay/host/probe"
	"chipassay/vectors/part"
	"chipassay/vectors/proof"
)

// Likely are the families of a candidate that the measured inputs allow: those of their
// technology, without those whose inputs draw another current. The first of the candidate's
// own is always among them.
func (a *Answer) Likely(c Candidate) (families []*part.Family) {
	for i, f := range c.Families {
		if i == 0 || a.unlike(c.Variant, f) == 0 {
			families = append(families, f)
		}
	}
	return families
}

// Apart says how a part of another number differs from a candidate in what logic does not show:
// "input thresholds", or "nothing".
func (a *Answer) Apart(c Candidate, number string) string {
	for _, o := range a.plan.Candidates {
		if v := o.Variant; v.Part.Number == number && v != c.Variant && probe.SeatOf(v) == probe.SeatOf(c.Variant) {
			return apart(c.Variant, v)
		}
	}
	return "nothing"
}

// apart says how two variants on the same pins differ in what logic does not show.
func apart(v, o *part.Variant) string {
	differ := func(of func(a, b part.Pin) bool) bool {
		return slices.ContainsFunc(v.Pins, func(p part.Pin) bool { return of(p, o.Pins[p.Number-1]) })
	}
	both := func(a, b part.Pin) bool { return a.Observable() && b.Observable() }
	outside := func(p part.Pin) bool { return p.Role == part.External || p.Role == part.Expander }
	switch {
	case v.Memory != nil && o.Memory != nil && v.Memory.Kind.ROM() != o.Memory.Kind.ROM():
		return "whether it can be written"
	case differ(func(a, b part.Pin) bool { return outside(a) != outside(b) }):
		return "parts outside the chip"
	case differ(func(a, b part.Pin) bool { return a.Schmitt != b.Schmitt }):
		return "input thresholds"
	case differ(func(a, b part.Pin) bool { return both(a, b) && a.Stage != b.Stage }):
		return "output stage: a pull-up would show it"
	case differ(func(a, b part.Pin) bool { return both(a, b) && a.Drive != b.Drive }):
		return "output current"
	case v.Memory == nil && !proof.Passes(v, o) && !proof.Passes(o, v):
		return "function: each fails the other's test"
	case !slices.ContainsFunc(v.Families, func(f *part.Family) bool { return slices.Contains(o.Families, f) }):
		return "family: currents and speed"
	}
	return "nothing"
}
