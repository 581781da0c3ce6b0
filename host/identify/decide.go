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
	// leastGain, in bits, is how much more than nothing a part must explain to be named: it is
	// a million times as likely.
	leastGain = 20
	// faultBits, in bits, is the price of a fault: one of some 50, in one chip of twenty
	// (common practice with salvaged parts).
	faultBits = 10
	// mostTests is how many functions a chip is tested for.
	mostTests = 4
	// mostTypes is how many types of one function it is tested as, where the measured inputs
	// leave several, and mostFails how many of these tests it may fail.
	mostTypes = 4
	mostFails = 2
	// farBetter is how many times less a broken part must leave unexplained to come before a
	// good one that cannot be tested by itself.
	farBetter = 4
	// mostNamed is how many candidates an answer has.
	mostNamed = 5
)

// decide tests the chip as what it may be, and completes the answer.
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
	if a.Nearest = a.nearest(); broken && a.betterNearly() {
		broken = false
	}
	switch {
	case len(untested) > 0 && !(broken && farBetter*a.Candidates[0].Bits < untested[0].fit.Bits):
		a.Nearest = nil
		a.found(untested[0], possible)
		return nil
	case broken && (len(memories) == 0 || a.Candidates[0].Bits < memories[0].Bits):
		a.Nearest = nil
		return a.testBroken(ctx, s.seat, failed)
	case len(memories) > 0:
		a.Nearest = nil
		a.remembers(memories)
		return nil
	}
	a.nearestFirst()
	if a.Reason = a.unexplained("no single fault of a part of the library explains it"); a.plan.NoTable {
		return nil
	}
	return a.unknown(ctx, s)
}

// lookAgain probes on where the chip passed the test of no good part: it is broken, unknown, or
// cannot be tested by itself.
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

// possible are the parts that nothing contradicts, with memories apart. Parts with such inputs
// come first, then those that leave nothing open, then the likeliest. Among equals the hint
// decides.
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

// families are those of a part that the technology of the inputs allows. Where currents were
// measured, families with such currents come first. The inputs of a comparator take none, and
// look like those of MOS parts whatever their family.
func (a *Answer) families(v *part.Variant) (families []*part.Family) {
	compares := slices.ContainsFunc(v.Pins, func(p part.Pin) bool { return p.Trip != 0 })
	for _, f := range v.Families {
		if a.Technology == "" || compares || f.Technology.Bipolar() == (a.Technology == "bipolar") {
			families = append(families, f)
		}
	}
	slices.SortStableFunc(families, func(x, y *part.Family) int { return cmp.Compare(a.unlike(v, x), a.unlike(v, y)) })
	return families
}

// faulty are the pins without contact that a part connects.
func faulty(open part.Pins, v *part.Variant) (pins part.Pins) {
	for pin := range open.All() {
		pins = pins.With(pin, contact.Judges(v.Pins[pin-1]))
	}
	return pins
}

// sameAsFirst separates the fits with the function of the first from the rest.
func sameAsFirst(fits []match.Fit) (alike, rest []match.Fit) {
	for i, f := range fits {
		if i == 0 || proof.SameFunction(fits[0].Variant, f.Variant) {
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

// types are the types of some parts that the measured inputs allow: those with such currents
// first, and among these the ones that the hint speaks for.
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

// test tests the chip as parts of one function: as each type that the inputs allow, until the
// levels fit one, too.
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
		a.testing(plan.Type)
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

// better reports whether a verdict says more for a type than another does.
func better(a, b verdict.Verdict) bool {
	order := []verdict.Verdict{verdict.Pass, verdict.PassBut, verdict.NotTested, verdict.Fail}
	return slices.Index(order, a) < slices.Index(order, b)
}

// found answers with a type whose own test the chip passed or, where there is none, one that
// cannot be tested by itself.
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

// strangers are parts that pass the test of a part and that the chip was not compared with.
func (a *Answer) strangers(v *part.Variant) (numbers []string) {
	for _, number := range proof.IntrudersOf(v) {
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

// named reports whether a part is among the candidates or has the function of one.
func (a *Answer) named(v *part.Variant) bool {
	return slices.ContainsFunc(a.Candidates, func(c Candidate) bool {
		return c.Part.Number == v.Part.Number || slices.Contains(c.SameFunction, v.Part.Number)
	})
}

// candidate is a part with the others of its function.
func (a *Answer) candidate(c match.Candidate) Candidate {
	return Candidate{Part: c.Variant.Part, Variant: c.Variant, SameFunction: a.equals(c.Variant), Families: a.families(c.Variant)}
}

// equals are the numbers of other parts on the same pins that no test tells from a part.
func (a *Answer) equals(v *part.Variant) (numbers []string) {
	pass := proof.IntrudersOf(v)
	for _, c := range a.plan.Candidates {
		o := c.Variant
		if o.Part != v.Part && !c.LeavesOpen() && probe.SeatOf(o) == probe.SeatOf(v) && slices.Contains(pass, o.Part.Number) &&
			!slices.Contains(numbers, o.Part.Number) && proof.Passes(v, o) {
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

// toldApart reports whether two parts are of one function, or each fails the other's test.
func toldApart(a, b *part.Variant) bool { return proof.Passes(a, b) == proof.Passes(b, a) }
