package identify

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"chipassay/host/assay"
	"chipassay/host/assay/contact"
	"chipassay/host/assay/levels"
	"chipassay/host/probe"
	"chipassay/host/verdict"
	"chipassay/vectors/match"
	"chipassay/vectors/part"
	"chipassay/vectors/proof"
)

const (
	// leastGain, in bits, is how much more than nothing a part explains that is named: its
	// likelihood is a million to one.
	leastGain = 20
	// faultBits is the price of a fault: of some 50 that a chip may have, in one chip of
	// twenty (common practice of salvaged parts).
	faultBits = 10
	// mostTests is how many parts are tested as what they may be.
	mostTests = 4
	// mostFamilies is as how many families, where the measured inputs leave several.
	mostFamilies = 3
	// mostNamed is how many candidates are given.
	mostNamed = 5
)

// decide tests what the chip may be, and says what it is.
func (a *Answer) decide(ctx context.Context, s stranger, p Plan) error {
	good, silent := a.sort(s.fits)
	var failed []tested
	for _, f := range good[:min(len(good), mostTests)] {
		if slices.ContainsFunc(failed, func(t tested) bool { return sameFunction(t.fit.Variant, f.Variant) }) {
			continue
		}
		t, err := a.test(ctx, s.seat, f, p)
		if err != nil {
			return err
		}
		if p.NoTest || t.result != nil && t.result.Verdict.Passed() {
			a.found(t, good, silent)
			return ctx.Err()
		}
		failed = append(failed, t)
	}
	if a.broken(p, failed) {
		return a.testBroken(ctx, s.seat, failed, p)
	}
	a.silent(silent)
	if len(silent) > 0 {
		return nil
	}
	return a.unknown(ctx, s)
}

// sort puts the parts that nothing contradicts apart: those that said what was seen, and
// those that left it open. The likeliest come first, and hints go before likelihood where
// nothing was seen that parts them.
func (a *Answer) sort(fits []match.Fit) (good, silent []match.Fit) {
	for _, f := range fits {
		switch {
		case f.Mismatches > 0 || !a.madeSo(f.Variant) || faulty(a.Open, f.Variant).Len() > 0:
		case f.Circuit == nil || f.Right == 0 || f.LeavesOpen():
			silent = append(silent, f)
		default:
			good = append(good, f)
		}
	}
	return good, silent
}

// madeSo tells whether a part is made in a family with such inputs.
func (a *Answer) madeSo(v *part.Variant) bool { return len(a.families(v)) > 0 }

// families are those of a part that the measured inputs allow: by their technology, and
// where their currents were measured, by these first.
func (a *Answer) families(v *part.Variant) (families []*part.Family) {
	for _, f := range v.Families {
		if a.Technology == "" || f.Technology.Bipolar() == (a.Technology == "bipolar") {
			families = append(families, f)
		}
	}
	slices.SortStableFunc(families, func(x, y *part.Family) int { return cmp.Compare(a.unlike(v, x), a.unlike(v, y)) })
	return families
}

// unlike is 1 where the inputs draw another current than those of a family do, else 0.
func (a *Answer) unlike(v *part.Variant, f *part.Family) int {
	if mA, known := a.draw(v, f); known && !levels.Draws(f, mA) {
		return 1
	}
	return 0
}

// draw is what the inputs draw when they are low, mA for each of the family's unit loads;
// known is false where none was held low by the load.
func (a *Answer) draw(v *part.Variant, f *part.Family) (mA float64, known bool) {
	var draws []float64
	for pin, volts := range a.Record.Loaded {
		if volts != volts || v.Pins[pin-1].Role != part.Input || v.Pins[pin-1].PullUp {
			continue
		}
		if load := v.Pins[pin-1].LoadIn(f); load > 0 {
			draws = append(draws, volts/heldOhms*1000/load)
		}
	}
	if len(draws) == 0 {
		return 0, false
	}
	slices.Sort(draws)
	return draws[len(draws)/2], true
}

// faulty are the pins without contact at which a part has a connection.
func faulty(open part.Pins, v *part.Variant) (pins part.Pins) {
	for pin := range open.All() {
		pins = pins.With(pin, contact.Judges(v.Pins[pin-1]))
	}
	return pins
}

// tested is a part that the chip was tested as.
type tested struct {
	fit    match.Fit
	family *part.Family
	result *assay.Result
}

// test tests the chip as a part, as each family that the inputs allow until one fits.
func (a *Answer) test(ctx context.Context, seat assay.Socket, f match.Fit, p Plan) (t tested, err error) {
	families := p.Hint.families(a.families(f.Variant))
	if p.NoTest {
		return tested{fit: f, family: families[0]}, nil
	}
	for _, family := range families[:min(len(families), mostFamilies)] {
		plan, err := assay.NewPlan(part.Type{Variant: f.Variant, Family: family}, p.Others)
		if err != nil {
			return t, err
		}
		plan.AtLeast = p.AtLeast
		a.Tests++
		r := assay.Run(ctx, seat, plan)
		if t.result == nil || r.Verdict == verdict.Pass {
			t = tested{fit: f, family: family, result: r}
		}
		if ctx.Err() != nil || !r.Verdict.Passed() || r.Levels == nil || r.Levels.Family == "" {
			break
		}
	}
	return t, ctx.Err()
}

// found says that the chip is a part whose own test it passed.
func (a *Answer) found(t tested, good, silent []match.Fit) {
	first := a.candidate(t.fit.Candidate)
	first.Families = firstFamily(first.Families, t.family)
	a.Candidates = []Candidate{first}
	if a.Test = t.result; a.Test != nil {
		a.Verdict, a.Reason = a.Test.Verdict, a.Test.Reason
	}
	for _, f := range good {
		if f.Variant == t.fit.Variant || a.named(f.Variant) {
			continue
		}
		a.Candidates = append(a.Candidates, a.candidate(f.Candidate))
		if !toldApart(t.fit.Variant, f.Variant) {
			a.doubt("a %s answers the test of a %s rightly too", f.Variant.Part.Number, t.fit.Variant.Part.Number)
		}
	}
	a.silent(silent)
	if len(a.Silent) > 0 {
		a.doubt("nothing excludes %s, whose outputs need parts outside the chip", strings.Join(a.Silent[:min(len(a.Silent), 3)], ", "))
	}
	if t.fit.Lost && len(t.fit.Circuit.State) > 0 {
		a.doubt("the data sheet of a %s forbids some of what it was asked, so it was not compared there", t.fit.Variant.Part.Number)
	}
	if a.Technology == "" {
		a.doubt("the technology of its inputs could not be measured")
	}
	a.Certain = len(a.Doubts) == 0
	a.Candidates = a.Candidates[:min(len(a.Candidates), mostNamed)]
}

func (a *Answer) doubt(format string, args ...any) {
	a.Doubts = append(a.Doubts, fmt.Sprintf(format, args...))
}

// named tells whether a part is among the candidates, or of the function of one.
func (a *Answer) named(v *part.Variant) bool {
	return slices.ContainsFunc(a.Candidates, func(c Candidate) bool {
		return c.Part.Number == v.Part.Number || slices.Contains(c.SameFunction, v.Part.Number)
	})
}

// candidate is a part with those of the same function.
func (a *Answer) candidate(c match.Candidate) Candidate {
	return Candidate{Part: c.Variant.Part, Variant: c.Variant, SameFunction: a.equals(c.Variant), Families: a.families(c.Variant)}
}

// equals are the numbers of the other parts of a part's pins that no test tells from it.
func (a *Answer) equals(v *part.Variant) (numbers []string) {
	pass := intruders(v)
	for _, c := range a.plan.Candidates {
		o := c.Variant
		if o.Part != v.Part && probe.SeatOf(o) == probe.SeatOf(v) && slices.Contains(pass, o.Part.Number) &&
			!slices.Contains(numbers, o.Part.Number) && passes(v, o) {
			numbers = append(numbers, o.Part.Number)
		}
	}
	slices.Sort(numbers)
	return numbers
}

// firstFamily puts a family first.
func firstFamily(families []*part.Family, first *part.Family) []*part.Family {
	rest := slices.DeleteFunc(slices.Clone(families), func(f *part.Family) bool { return f == first })
	return append([]*part.Family{first}, rest...)
}

// silent keeps the parts that nothing excludes, for they leave open what was seen.
func (a *Answer) silent(fits []match.Fit) {
	for _, f := range fits {
		if number := f.Variant.Part.Number; !slices.Contains(a.Silent, number) {
			a.Silent = append(a.Silent, number)
		}
	}
}

// intruders are the parts that pass the whole test of one.
func intruders(v *part.Variant) (numbers []string) {
	for _, f := range v.Families {
		some, _ := proof.Intruders(part.Type{Variant: v, Family: f})
		numbers = append(numbers, some...)
	}
	return numbers
}

// passes tells whether a good chip of a part passes the whole test of another.
func passes(v, as *part.Variant) bool {
	return v.Part == as.Part || slices.Contains(intruders(as), v.Part.Number)
}

// sameFunction tells whether each of two parts passes the other's test.
func sameFunction(a, b *part.Variant) bool { return passes(a, b) && passes(b, a) }

// toldApart tells whether two parts are of one function, or each fails the other's test.
func toldApart(a, b *part.Variant) bool { return passes(a, b) == passes(b, a) }
