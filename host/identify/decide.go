package identify

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/assay/contact"
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
	// mostTests is as how many functions a chip is tested.
	mostTests = 4
	// mostTypes is as how many types of one function, where the measured inputs leave several,
	// and mostFails how many of them it may fail as.
	mostTypes = 4
	mostFails = 2
	// farBetter is how many times less a broken part must leave unexplained than one that
	// cannot be tested by itself, which leaves much open.
	farBetter = 4
	// mostNamed is how many candidates are given.
	mostNamed = 5
)

// decide tests what the chip may be, and says what it is.
func (a *Answer) decide(ctx context.Context, s *stranger) error {
	possible, _ := a.possible(s.fits)
	var failed, untested []tested
	for rest := possible; len(rest) > 0 && len(failed)+len(untested) < mostTests; {
		var alike []match.Fit
		alike, rest = sameAsFirst(rest)
		t, err := a.test(ctx, s.seat, alike)
		switch {
		case err != nil:
			return err
		case a.plan.NoTest || t.result.Verdict.Passed():
			a.found(t, possible)
			return nil
		case t.result.Verdict == verdict.NotTested:
			untested = append(untested, t)
		default:
			failed = append(failed, t)
		}
	}
	if err := a.lookAgain(ctx, s); err != nil {
		return err
	}
	_, memories := a.possible(s.fits)
	broken := a.broken(failed)
	switch {
	case len(untested) > 0 && !(broken && farBetter*a.Candidates[0].Bits < untested[0].fit.Bits):
		a.found(untested[0], possible)
		return nil
	case broken && (len(memories) == 0 || a.Candidates[0].Bits < memories[0].Bits):
		return a.testBroken(ctx, s.seat, failed)
	case len(memories) > 0:
		a.remembers(memories)
		return nil
	}
	if a.Reason = "no part of the library explains what it does"; a.plan.NoTable {
		return nil
	}
	return a.unknown(ctx, s)
}

// lookAgain shows more of a chip that passed the test of no good part, and so is broken, cannot
// be tested by itself or is not known.
func (a *Answer) lookAgain(ctx context.Context, s *stranger) error {
	if s.wandered {
		return nil
	}
	began, steps := s.seat.Spent(), len(a.Record.Steps)
	err := s.powered(ctx, func() error { return s.wander(ctx, a.plan.Candidates) })
	a.Record = s.walk.Record()
	a.Probing += s.seat.Spent() - began
	a.Steps += len(a.Record.Steps) - steps
	if errors.Is(err, adapter.ErrOverCurrent) { // what was seen before counts
		return nil
	}
	return err
}

// possible are the parts that nothing contradicts, and the memories apart: those first
// whose inputs are so, then those that said what was seen and did not leave it open, then the
// likeliest. Of equals a hint's come first.
func (a *Answer) possible(fits []match.Fit) (possible, memories []match.Fit) {
	for _, f := range fits {
		switch {
		case f.Mismatches > 0 || len(a.families(f.Variant)) == 0 || faulty(a.Open, f.Variant).Len() > 0:
		case f.Circuit == nil:
			memories = append(memories, f)
		default:
			possible = append(possible, f)
		}
	}
	unlike := func(f match.Fit) int { return a.unlike(f.Variant, a.families(f.Variant)[0]) }
	open := func(f match.Fit) int {
		if f.LeavesOpen() {
			return 1
		}
		return 0
	}
	slices.SortStableFunc(possible, func(x, y match.Fit) int {
		return cmp.Or(unlike(x)-unlike(y), open(x)-open(y), a.plan.Hint.agrees(y.Variant)-a.plan.Hint.agrees(x.Variant))
	})
	return possible, memories
}

// remembers names the memories that the chip may be.
func (a *Answer) remembers(memories []match.Fit) {
	a.Candidates = nil
	for _, f := range memories[:min(len(memories), mostNamed)] {
		if !a.named(f.Variant) {
			a.Candidates = append(a.Candidates, a.candidate(f.Candidate))
		}
	}
	a.Reason = fmt.Sprintf("probably a memory; chipassay test %s shows whether it is good", a.Candidates[0].Part.Number)
	a.doubt("its contents are not known, so nothing contradicts it")
}

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

// faulty are the pins without contact at which a part has a connection.
func faulty(open part.Pins, v *part.Variant) (pins part.Pins) {
	for pin := range open.All() {
		pins = pins.With(pin, contact.Judges(v.Pins[pin-1]))
	}
	return pins
}

// sameAsFirst takes those of the function of the first off the front.
func sameAsFirst(fits []match.Fit) (alike, rest []match.Fit) {
	for i, f := range fits {
		if i == 0 || sameFunction(fits[0].Variant, f.Variant) {
			alike = append(alike, f)
		} else {
			rest = append(rest, f)
		}
	}
	return alike, rest
}

// tested is a type that the chip was tested as.
type tested struct {
	fit    match.Fit
	family *part.Family
	result *assay.Result
}

// types are the types of some parts that the measured inputs allow: those first whose
// currents they are, and of these the ones that a hint speaks for.
func (a *Answer) types(fits []match.Fit) (types []tested) {
	for _, f := range fits {
		for _, family := range a.plan.Hint.families(a.families(f.Variant)) {
			types = append(types, tested{fit: f, family: family})
		}
	}
	slices.SortStableFunc(types, func(x, y tested) int {
		return cmp.Or(cmp.Compare(a.unlike(x.fit.Variant, x.family), a.unlike(y.fit.Variant, y.family)),
			cmp.Compare(a.plan.Hint.agrees(y.fit.Variant), a.plan.Hint.agrees(x.fit.Variant)))
	})
	return types
}

// test tests the chip as parts of one function, as each type that the inputs allow until
// one fits in its levels, too.
func (a *Answer) test(ctx context.Context, seat assay.Socket, alike []match.Fit) (best tested, err error) {
	types := a.types(alike)
	if a.plan.NoTest {
		return types[0], nil
	}
	tests, fails := 0, 0
	for _, t := range types {
		if tests == mostTypes || fails == mostFails || best.result != nil && best.result.Verdict == verdict.Fail && best.fit.Variant == t.fit.Variant {
			continue
		}
		tests++
		plan, err := assay.NewPlan(part.Type{Variant: t.fit.Variant, Family: t.family}, a.plan.Others)
		if err != nil {
			return best, err
		}
		plan.AtLeast, plan.Others = a.plan.AtLeast, nil // what else it may be is decided here
		a.Tests++
		t.result = assay.Run(ctx, seat, plan)
		if t.result.Verdict == verdict.Fail {
			fails++
		}
		if best.result == nil || better(t.result.Verdict, best.result.Verdict) {
			best = t
		}
		if ctx.Err() != nil || t.result.Verdict == verdict.Pass {
			break
		}
	}
	return best, ctx.Err()
}

// better reports whether a verdict says more for a type than another: a pass, a pass with a
// but, then what could not be tested, and a fail the least.
func better(a, b verdict.Verdict) bool {
	order := []verdict.Verdict{verdict.Pass, verdict.PassBut, verdict.NotTested, verdict.Fail}
	return slices.Index(order, a) < slices.Index(order, b)
}

// found says that the chip is a type whose own test it passed, or that nothing better was
// found than one that cannot be tested by itself.
func (a *Answer) found(t tested, possible []match.Fit) {
	first := a.candidate(t.fit.Candidate)
	first.Families = firstFamily(first.Families, t.family)
	a.Candidates = []Candidate{first}
	if a.Test = t.result; a.Test != nil {
		a.Verdict, a.Reason = a.Test.Verdict, a.Test.Reason
	}
	number := first.Part.Number
	for _, f := range possible {
		switch {
		case f.LeavesOpen() && f.Variant.Part.Number != number:
			a.Silent = append(a.Silent, f.Variant.Part.Number)
		case a.named(f.Variant):
		default:
			a.Candidates = append(a.Candidates, a.candidate(f.Candidate))
			if !toldApart(t.fit.Variant, f.Variant) {
				a.doubt("a %s also passes the test of a %s", f.Variant.Part.Number, number)
			}
		}
	}
	slices.Sort(a.Silent)
	if a.Silent = slices.Compact(a.Silent); len(a.Silent) > 0 {
		a.doubt("nothing excludes %s: outputs that need parts outside the chip say nothing here", listed(a.Silent))
	}
	if t.fit.LeavesOpen() {
		a.doubt("some pins of a %s need parts outside the chip, or are not judged", number)
	}
	for _, other := range a.strangers(t.fit.Variant) {
		a.doubt("a %s also passes the test of a %s, and was not compared", other, number)
	}
	if a.Technology == "" {
		a.doubt("the technology of its inputs could not be measured")
	}
	a.Certain = len(a.Doubts) == 0 && (a.Test == nil || a.Test.Verdict.Passed())
	a.Candidates = a.Candidates[:min(len(a.Candidates), mostNamed)]
}

// listed names the first few of some numbers.
func listed(numbers []string) string {
	const most = 3
	if len(numbers) > most {
		return fmt.Sprintf("%s and %d more", strings.Join(numbers[:most], ", "), len(numbers)-most)
	}
	return strings.Join(numbers, ", ")
}

// strangers are parts that pass the test of one and that the chip was not compared with.
func (a *Answer) strangers(v *part.Variant) (numbers []string) {
	for _, number := range intruders(v) {
		compared := slices.ContainsFunc(a.plan.Candidates, func(c match.Candidate) bool { return c.Variant.Part.Number == number })
		if !compared && !slices.Contains(numbers, number) {
			numbers = append(numbers, number)
		}
	}
	return numbers
}

func (a *Answer) doubt(format string, args ...any) {
	a.Doubts = append(a.Doubts, fmt.Sprintf(format, args...))
}

// named reports whether a part is among the candidates, or of the function of one.
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
		if o.Part != v.Part && !c.LeavesOpen() && probe.SeatOf(o) == probe.SeatOf(v) && slices.Contains(pass, o.Part.Number) &&
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

// intruders are the parts that pass the whole test of one.
func intruders(v *part.Variant) (numbers []string) {
	for _, f := range v.Families {
		some, _ := proof.Intruders(part.Type{Variant: v, Family: f})
		numbers = append(numbers, some...)
	}
	return numbers
}

// passes reports whether a good chip of a part passes the whole test of another.
func passes(v, as *part.Variant) bool {
	return v.Part == as.Part || slices.Contains(intruders(as), v.Part.Number)
}

// sameFunction reports whether each of two parts passes the other's test.
func sameFunction(a, b *part.Variant) bool { return passes(a, b) && passes(b, a) }

// toldApart reports whether two parts are of one function, or each fails the other's test.
func toldApart(a, b *part.Variant) bool { return passes(a, b) == passes(b, a) }
