package assay

import (
	"context"
	"slices"

	"chipassay/host/assay/timing"
	"chipassay/vectors/part"
)

// mostTimedOthers is how many other types a chip is timed as.
const mostTimedOthers = 8

// timedAs are the types of the same pins as which the section that was timed last is right in all: what is wrong with a chip of
// the typed one is then nothing but its marking. The capacitor is still where that section has it.
func (r *Result) timedAs(ctx context.Context, socket Socket, p Plan) (types []string, numbers []string, err error) {
	last := &r.Timing.Sections[len(r.Timing.Sections)-1]
	tries := 0
	for _, t := range r.timedLike(p) {
		x := sameClips(t.Variant, last)
		if tries++; tries > mostTimedOthers || len(types) > 0 && t.Family != r.Type.Family {
			break // one of the typed family is likelier than one of another
		}
		within := 0.0
		if last.Present {
			within = last.Tolerance
		}
		section := timing.Begin(t, x, *p.Timing, last.Farads, within)
		current := r.SupplyCurrentMA
		err := r.powered(ctx, socket, func() error { return section.Test(ctx, socket, t, x) })
		r.SupplyCurrentMA = current
		switch {
		case err != nil:
			return nil, nil, err
		case len(section.Wrong) > 0 || section.NoPulses || section.Pulse == nil || len(section.Limits) > 0 && len(section.Fits) == 0:
			continue
		}
		types = append(types, t.Name())
		if number := t.Part().Number; number != r.Type.Part().Number && !slices.Contains(numbers, number) {
			numbers = append(numbers, number)
		}
	}
	return types, numbers, nil
}

// timedLike are the types with the same pins and the same parts outside as the typed one, and inputs of the same kind, those of
// its family first.
func (r *Result) timedLike(p Plan) (types []part.Type) {
	typed := r.Type.Variant
	last := &r.Timing.Sections[len(r.Timing.Sections)-1]
	for _, c := range r.parts(p) {
		v := c.Variant
		if v.Refusal != "" || sameClips(v, last) == nil || !slices.EqualFunc(v.Pins, typed.Pins, func(a, b part.Pin) bool { return a.Role == b.Role }) {
			continue
		}
		for _, f := range v.Families {
			t := part.Type{Variant: v, Family: f}
			if f.Technology.Bipolar() == r.Type.Family.Technology.Bipolar() && f.Series4000() == r.Type.Family.Series4000() && t.Name() != r.Type.Name() {
				types = append(types, t)
			}
		}
	}
	slices.SortStableFunc(types, func(a, b part.Type) int { return otherFamily(r.Type, a) - otherFamily(r.Type, b) })
	return types
}

func otherFamily(typed, t part.Type) int {
	if t.Family == typed.Family {
		return 0
	}
	return 1
}

// sameClips is the timing of a variant that has the parts outside, and the outputs, of a section; nil where it has none.
func sameClips(v *part.Variant, s *timing.Section) *part.Timing {
	for i := range v.Timings {
		x := &v.Timings[i]
		if x.Positive == s.Positive && x.Negative == s.Negative && x.Output == s.Output && x.Complement == s.Complement &&
			x.Oscillates == s.Oscillates && (x.Supplied != 0) == s.ByBias && slices.Equal(x.Inputs(v), s.Inputs) {
			return x
		}
	}
	return nil
}

// blameMarking says, of a chip whose times are wrong, that it is another part, where it is right as that: first where every
// section is wrong, and as a second cause where only one thing is.
func (r *Result) blameMarking(ctx context.Context, socket Socket, p Plan) {
	if r.Verdict != Fail || len(r.Timing.Sections) == 0 {
		return
	}
	wrong := 0
	for _, s := range r.Timing.Sections {
		if len(s.Wrong) == 0 {
			return // one that is right is of the typed part
		}
		wrong += len(s.Wrong)
	}
	types, numbers, err := r.timedAs(ctx, socket, p)
	if err != nil || len(types) == 0 {
		return
	}
	words := anotherWords(types, r.Type)
	if wrong < 2 {
		r.Findings = append(r.Findings, "or it is another part: "+words)
		return
	}
	r.Findings = append([]string{words + ": check its marking, and test it as that part", r.Reason}, r.Findings...)
	r.OtherPart, r.Cause, r.Reason = numbers, words, words
}
