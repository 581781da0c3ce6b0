// Package identify finds what a chip is whose marking is gone or not to be trusted: its
// package and supply pins before power, the technology of its inputs, then its function
// by probing it through resistors beside all that it may be. The part that is found is
// tested as what it is; where no good part explains the chip, the parts with one fault
// that do are named; and where none does, its function table is measured.
package identify

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"chipassay/host/adapter"
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
	Others     proof.Others      // their circuits, for the test of what is found
	Hint       Hint
	Seed       uint64 // of the changes that are drawn at random
	AtLeast    time.Duration
	NoTest     bool // the part that is found is not tested
	// MemorySteps is how long memory is looked for in a chip that no part explains;
	// DefaultMemorySteps where it is 0.
	MemorySteps int
	NoTable     bool // the function of a chip that no part explains is not measured
	// Watch is told how it stands whenever that changes; nil for nobody.
	Watch func(Progress)
}

// An Answer is what is said of a chip.
type Answer struct {
	Seat    probe.Seat       // package and supply pins; zero where none were found
	Seating *contact.Seating // why it was not powered, else nil
	Open    part.Pins        // signal pins without contact

	Candidates []Candidate // the likeliest first
	// Silent are parts that nothing excludes because their definitions leave open what was
	// seen: one-shots, oscillators, expanders.
	Silent  []string
	Certain bool
	Doubts  []string // why it is not certain, the weightiest first

	Verdict verdict.Verdict
	Reason  string        // one sentence
	Test    *assay.Result // as the first candidate; nil where it was not tested
	Tests   int           // own tests that were run

	Technology string // by what its inputs do: "bipolar", "MOS", empty where not known
	Draw       float64
	Record     *probe.Record // nil where it was not powered
	Table      *Table        // the measured function of a chip that no part explains, or nil

	Steps   int           // of probing
	Probing time.Duration // of the adapter, from the first look to the last step of probing

	plan Plan
}

// A Candidate is what the chip may be.
type Candidate struct {
	Part         *part.Part
	Variant      *part.Variant
	SameFunction []string       // numbers of other parts that no test tells from it
	Families     []*part.Family // that the measured inputs allow, the likeliest first
	Faults       []string       // that explain the difference, where there is one
	Bits         float64        // what it does not explain
	Mismatches   int
}

// Chip identifies the chip in a socket, whichever seat it is taken for. It switches off.
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
	if len(places) == 0 {
		if seating.Kind == contact.Misplaced && turned != "" {
			seating.Advice += fmt.Sprintf("; or it is a memory that has its supply pins the other way round, such as a %s: "+
				"--kind memory looks at it as one", turned)
		}
		a.Seating, a.Reason = &seating, seating.String()
		return a, nil
	}
	best, err := a.probeAll(ctx, socket, places, p)
	a.Probing = socket.Spent() - began
	if err != nil || best == nil {
		return a, err
	}
	return a, a.decide(ctx, *best, p)
}

// seatable are the variants at whose supply pins a chip is looked for: not those of memories
// that logic put in backwards has, unless a hint says that it is a memory. Turned is one of them.
func seatable(p Plan) (may []*part.Variant, turned string) {
	backwards := map[probe.Seat]bool{}
	for _, c := range p.Candidates {
		if c.Circuit != nil {
			s := probe.SeatOf(c.Variant)
			half := func(pin int) int { return (pin+s.Pins/2-1)%s.Pins + 1 }
			backwards[probe.Seat{Pins: s.Pins, VCC: half(s.VCC), GND: half(s.GND)}] = true
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

// A stranger is a chip that was probed at one place.
type stranger struct {
	place contact.Place
	seat  assay.Socket
	walk  *probe.Walker
	fits  []match.Fit

	limitMA int // with which it was powered
}

// gain is how much more the best fit explains than one that predicts nothing, bits.
func (s stranger) gain() float64 {
	if len(s.fits) == 0 {
		return math.Inf(-1)
	}
	return s.walk.Record().Blind() - s.fits[0].Bits
}

// probeAll probes the chip at the places where it answers, until one explains it.
func (a *Answer) probeAll(ctx context.Context, socket assay.Socket, places []contact.Place, p Plan) (best *stranger, err error) {
	for _, place := range places {
		seat, err := socket.Reseated(place.Pins, place.VCC, place.GND)
		if errors.Is(err, adapter.ErrCannot) {
			a.Reason = err.Error()
			continue
		}
		if err != nil {
			return nil, err
		}
		s, err := probeAt(ctx, seat, place, p)
		if s.walk != nil {
			a.Steps += len(s.walk.Record().Steps)
			if best == nil || s.gain() > best.gain() {
				best = &s
			}
		}
		if errors.Is(err, adapter.ErrOverCurrent) {
			a.Reason = "the chip takes more than 200 mA and was switched off: it may be shorted inside"
			continue
		}
		if err != nil {
			return best, err
		}
		if len(s.fits) > 0 && s.fits[0].Mismatches == 0 {
			break
		}
	}
	if best != nil {
		a.Seat, a.Open, a.Record = best.place.Seat, best.place.Open, best.walk.Record()
		a.inputs()
	}
	return best, nil
}

// limitsMA are the currents at which the supply trips, tried in order, mA: a small chip, a
// large one, and what the family that takes the most has.
var limitsMA = []int{60, 120, 200}

// probeAt powers the chip with the least limit that it runs at, and probes it.
func probeAt(ctx context.Context, seat assay.Socket, place contact.Place, p Plan) (s stranger, err error) {
	s = stranger{place: place, seat: seat}
	p.leftOf("powering it", func(v *part.Variant) bool { return probe.SeatOf(v) == place.Seat })
	for _, limit := range limitsMA {
		if err = s.probe(ctx, limit, p); !errors.Is(err, adapter.ErrOverCurrent) {
			return s, err
		}
	}
	return s, err
}

// pulses are how many a clock gets before the search for what tells parts apart: most counters
// show more than one output by then.
const pulses = 8

func (s *stranger) probe(ctx context.Context, limitMA int, p Plan) (err error) {
	defer func() { err = errors.Join(err, assay.Safe(ctx, s.seat)) }()
	s.limitMA = limitMA
	if _, err := s.seat.PowerOn(ctx, limitMA); err != nil {
		return err
	}
	s.walk, err = probe.Begin(ctx, s.seat, s.place.Seat)
	if err != nil {
		return err
	}
	if err := s.walk.Regular(ctx, pulses); err != nil {
		return err
	}
	s.fits, err = narrow(ctx, s.walk, p)
	return err
}

// inputs says of which technology the inputs are, and what they draw.
func (a *Answer) inputs() {
	if bipolar, known := a.Record.Bipolar(); known {
		a.Technology = map[bool]string{true: "bipolar", false: "MOS"}[bipolar]
	}
	var draws []float64
	for _, v := range a.Record.Loaded {
		if v == v {
			draws = append(draws, v/heldOhms*1000)
		}
	}
	slices.Sort(draws)
	if len(draws) > 0 {
		a.Draw = draws[len(draws)/4] // an input of more than one unit load draws more
	}
}

// heldOhms, Ω, is what holds a bipolar input low: the load beside the bias.
const heldOhms = 1000 * 10_000 / 11_000.

// The exit of a command that identified: 0 a good chip that is certain, 1 a faulty one,
// 4 a good one with a but, 3 what is not known.
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
