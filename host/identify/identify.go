// Package identify identifies a chip whose marking is gone or not to be trusted: its package
// and supply pins before power, the technology of its inputs, then its function. The chip is
// probed through resistors, and all parts that it may be are simulated beside it. The part
// that is found is tested as such. Where no good part explains the chip, the parts that do
// with one fault are named; where none does, its function table is measured.
package identify

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"time"

	"chipassay/host/assay"
	"chipassay/host/assay/contact"
	"chipassay/host/probe"
	"chipassay/host/verdict"
	"chipassay/vectors/match"
	"chipassay/vectors/part"
	"chipassay/vectors/proof"
)

// A Plan is what is known beforehand, and how far to go.
type Plan struct {
	Candidates []match.Candidate // what it may be
	Others     proof.Others      // their circuits, for the proof of what a test shows
	Hint       Hint
	Seed       uint64 // of the changes that are drawn at random
	AtLeast    time.Duration
	NoTest     bool // the part that is found is not tested
	// MemorySteps is how long memory is looked for in a chip that no part explains;
	// DefaultMemorySteps where it is 0.
	MemorySteps int
	// Fixed are pins that stay high while the function of a chip is measured that no part
	// explains: the clock and the enable of registers.
	Fixed   part.Pins
	NoTable bool // the function of a chip that no part explains is not measured
	// Watch is told how it stands whenever that changes; nil for nobody.
	Watch func(Progress)
}

// An Answer is what was found out about a chip.
type Answer struct {
	Seat    probe.Seat       // package and supply pins; zero where none were found
	Seating *contact.Seating // why it was not powered, else nil
	Open    part.Pins        // signal pins without contact

	Candidates []Candidate // the likeliest first
	// Silent are the numbers of parts that are not excluded only because their definitions
	// leave open what was seen: one-shots, oscillators, expanders.
	Silent  []string
	Certain bool
	Doubts  []string // why it is not certain, the weightiest first

	// Nearest is the part that a chip which no single fault explains answers as but for some
	// pins; nil where there is none.
	Nearest *match.NearFit

	Verdict verdict.Verdict
	Reason  string        // one sentence
	Test    *assay.Result // as the first candidate; nil where it was not tested
	Tests   int           // own tests that were run

	Technology string        // of its inputs: "bipolar" or "MOS"; empty where it is not known
	Draw       float64       // of a low input of one unit load, mA; 0 where it was not measured
	Record     *probe.Record // nil where it was not powered
	Table      *Table        // the measured function of a chip that no part explains, or nil

	Steps   int           // of probing
	Cycles  int           // how often the search was stuck and the power was cycled
	Probing time.Duration // the adapter's time from the first look to the last step of probing

	plan     Plan
	unjudged part.Pins // signal pins of whose contact nothing is known
}

// A Candidate is what the chip may be.
type Candidate struct {
	Part         *part.Part
	Variant      *part.Variant
	SameFunction []string       // numbers of other parts that no test tells from it
	Families     []*part.Family // that the measured inputs allow, the likeliest first
	Faults       []string       // that explain the difference, where there is one
	Bits         float64        // the price of what it does not explain

	odd bool // the chip did not answer as a good one
}

// Chip identifies the chip in a socket, whatever seat the socket was opened for. It leaves the
// supply off.
func Chip(ctx context.Context, socket assay.Socket, p Plan) (*Answer, error) {
	began := socket.Spent()
	p.Candidates = p.Hint.order(p.Candidates)
	a := &Answer{Verdict: verdict.NotTested, plan: p}
	may, turned := seatable(p)
	p.leftOf("looking for its supply pins", func(*part.Variant) bool { return true })
	places, seating, err := contact.Stranger(ctx, socket, may)
	if offErr := assay.Safe(ctx, socket); err == nil {
		err = offErr
	}
	if err != nil {
		return nil, err
	}
	if len(places) == 0 && seating.Kind == contact.Touching {
		if found, err := a.withoutSupply(ctx, socket); found || err != nil {
			return a, err
		}
	}
	if len(places) == 0 {
		if seating.Kind == contact.Misplaced && turned != "" {
			seating.Advice += fmt.Sprintf("; or it is a memory that has its supply pins the other way round, such as a %s: "+
				"--kind memory looks at it as one", turned)
		}
		a.Seating, a.Reason = &seating, seating.String()
		return a, nil
	}
	best, err := a.probeAll(ctx, socket, places)
	a.Probing = socket.Spent() - began
	if err != nil || best == nil {
		return a, err
	}
	return a, a.decide(ctx, best)
}

// withoutSupply looks for a part that needs no supply, whose outputs are joined through the
// diodes to their common: a chip of which nothing is known has pins that touch there. It is
// not powered.
func (a *Answer) withoutSupply(ctx context.Context, socket assay.Socket) (found bool, err error) {
	for _, c := range a.plan.Candidates {
		if !c.Variant.Unsupplied || a.named(c.Variant) {
			continue
		}
		s, err := contact.Test(ctx, socket, part.Type{Variant: c.Variant, Family: c.Variant.Families[0]})
		if err := errors.Join(err, assay.Safe(ctx, socket)); err != nil {
			return false, err
		}
		if s.Good() {
			a.Candidates = append(a.Candidates, a.candidate(c))
		}
	}
	if len(a.Candidates) == 0 {
		return false, nil
	}
	number := a.Candidates[0].Part.Number
	a.Reason = fmt.Sprintf("its pins are joined as those of a %s, which has no supply; chipassay test %s shows whether it is good", number, number)
	a.doubt("it was not powered")
	return true, nil
}

// seatable are the variants at whose supply pins a chip is looked for. Memories whose supply
// pins are those of logic put in backwards are left out, unless the hint names a memory; turned
// is the number of one.
func seatable(p Plan) (may []*part.Variant, turned string) {
	backwards := map[probe.Seat]bool{}
	for _, c := range p.Candidates {
		if c.Circuit != nil {
			backwards[probe.SeatOf(c.Variant).Turned()] = true
		}
	}
	for _, c := range p.Candidates {
		if c.Circuit == nil && backwards[probe.SeatOf(c.Variant)] && p.Hint.agrees(c.Variant) == 0 {
			turned = cmp.Or(turned, c.Variant.Part.Number)
			continue
		}
		may = append(may, c.Variant)
	}
	return may, turned
}

// Exit is the exit status of a command: 0 for a good chip that is certain, 1 for a faulty one,
// 4 for a good one with a reservation, 3 for one that is not known or not certain.
func (a *Answer) Exit() int {
	switch {
	case a.Verdict == verdict.Fail:
		return 1
	case a.Certain && a.Verdict == verdict.Pass:
		return 0
	case a.Certain && a.Verdict == verdict.PassBut:
		return 4
	}
	return 3
}

func (c Candidate) String() string {
	text := c.Part.Number
	if len(c.Faults) > 0 {
		text += fmt.Sprintf(" (%s)", c.Faults[0])
	}
	return text
}
