package identify

import (
	"fmt"
	"slices"

	"chipassay/vectors/match"
	"chipassay/vectors/part"
)

// A Progress is how an identification stands.
type Progress struct {
	Doing  string   // what is being done
	Steps  int      // of probing so far
	Left   int      // parts that the chip may still be
	Likely []string // numbers of some of them, the likeliest first
}

// mostLikely is how many of the parts that are left are named on the way.
const mostLikely = 8

// left says how an identification stands that leaves some parts.
func (p Plan) left(doing string, steps int, numbers []string) {
	if p.Watch == nil {
		return
	}
	var likely []string
	for _, number := range numbers {
		if !slices.Contains(likely, number) {
			likely = append(likely, number)
		}
	}
	p.Watch(Progress{Doing: doing, Steps: steps, Left: len(likely), Likely: likely[:min(len(likely), mostLikely)]})
}

// leftOf says how many of the candidates are left to begin with: those that may are.
func (p Plan) leftOf(doing string, may func(*part.Variant) bool) {
	var numbers []string
	for _, c := range p.Candidates {
		if may(c.Variant) {
			numbers = append(numbers, c.Variant.Part.Number)
		}
	}
	p.left(doing, 0, numbers)
}

// leftAfter says what is left after a trace.
func (p Plan) leftAfter(t match.Trace, fits []match.Fit) {
	doing := "probing it through resistors"
	if len(fits) == 0 {
		doing = "no good part explains it: probing on"
	}
	p.left(doing, len(t.Steps), numbersOf(fits))
}

// leftAfterRegular says what was left after shares of the regular steps, and after all:
// they are taken without a ranking between them.
func (p Plan) leftAfterRegular(t match.Trace) {
	if p.Watch == nil {
		return
	}
	for _, share := range []int{16, 8, 4, 2, 1} {
		some := t
		some.Steps = t.Steps[:len(t.Steps)/share]
		p.leftAfter(some, near(some.Rank(p.Candidates)))
	}
}

// near are the fits that are nearly as likely as the best, or that nothing contradicts.
func near(fits []match.Fit) []match.Fit {
	return slices.DeleteFunc(slices.Clone(fits), func(f match.Fit) bool { return f.Mismatches > 0 && f.Bits >= fits[0].Bits+farBehind })
}

func numbersOf(fits []match.Fit) (numbers []string) {
	for _, f := range fits {
		numbers = append(numbers, f.Variant.Part.Number)
	}
	return numbers
}

// testing says that the chip is tested as a type.
func (a *Answer) testing(t part.Type) {
	a.plan.left(fmt.Sprintf("testing it as a %s", t.Name()), a.Steps, []string{t.Part().Number})
}
