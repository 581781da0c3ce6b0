// Package match finds the parts that behave as an unknown chip did. The chip's trace is
// a list of steps. In each step some pins were held or driven low, some were held high
// through a resistor, and resistors pulled all others high and then low. A part is
// simulated through the same steps: a pin that it drives must read that level, a pin that
// it releases must follow its resistor, and what its definition leaves open matches
// anything, at a price.
//
// Prices are in bits, the negative logarithm to base 2 of a likelihood. What a part
// predicts costs nothing if right and a Mismatch if wrong. What it does not predict
// costs what an adaptive code needs to say whether the pin changed (Krichevsky and
// Trofimov 1981, from memory): little for a pin that does not move, some 1 bit a
// reading for one that does. Blind is the price of all readings for a part that predicts
// none.
package match

import (
	"math"
	"math/bits"
	"slices"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// A Step is one state of an unknown chip, and what its pins read there. The pins that
// are neither Low nor High, nor supply pins, are open.
type Step struct {
	Low  part.Pins // held low through a resistor, or driven low
	High part.Pins // held high through a resistor
	// Driven are those of Low that are driven: there an output may lose the contest.
	Driven part.Pins
	// The pins that read high while the open ones are pulled high, and while they are pulled low.
	PulledUp, PulledDown part.Pins
	// Anew is set where the chip was switched off and on before the step: nothing is known of
	// its state.
	Anew bool
	// Between are open pins that stood, while they were pulled low, at a voltage that an
	// input takes neither for a low nor for a high.
	Between part.Pins
}

// A Trace is what an unknown chip did, beginning when nothing was known of its state.
type Trace struct {
	Pins, VCC, GND int
	Steps          []Step
}

// Signals are the pins other than the supply pins.
func (t Trace) Signals() part.Pins {
	return (part.Pins(1)<<t.Pins - 1) &^ part.PinSet(t.VCC, t.GND)
}

// A Mismatch, in bits, is the price of a reading that a part rules out: the adapter
// misreads one in a million.
const Mismatch = 20

// unsteady, in bits, is the price of an output that always drives, has a level that is
// not known, and yet followed its bias: it may have changed between the two readings.
const unsteady = 3

// mostMismatches is how many rule a part out: it is simulated no further.
const mostMismatches = 40

// A Fit is how well a part explains a trace.
type Fit struct {
	Candidate
	Bits       float64 // the price of all readings
	Mismatches int     // readings that the part rules out
	Right      int     // changes of outputs that it predicts
	// Lost reports that a step did what the part's data sheet forbids: its state is not known
	// from then on until it is set or cleared.
	Lost bool

	model *gates // at the end of the trace; nil for a memory
}

// LeavesOpen reports whether a part's definition says nothing of a pin that may drive: one
// for parts outside the chip, or one that is not tested. The expander node of a DTL gate is
// no such pin: it is the node of its input diodes, and the gate's own resistor holds it.
func (c Candidate) LeavesOpen() bool {
	return slices.ContainsFunc(c.Variant.Pins, func(p part.Pin) bool {
		return p.Role == part.External || p.Role == part.Expander && !onlyDTL(c.Variant) || p.Observable() && p.Untested != ""
	})
}

// onlyDTL reports whether a variant was made in DTL alone.
func onlyDTL(v *part.Variant) bool {
	return !slices.ContainsFunc(v.Families, func(f *part.Family) bool { return f.Technology != part.DTL })
}

// Remembers reports whether a part of logic has a state.
func (c Candidate) Remembers() bool { return c.Circuit != nil && len(c.Circuit.State) > 0 }

// A Candidate is a part that may be in the socket. Circuit is nil for a memory.
type Candidate struct {
	Variant *part.Variant
	Circuit *logic.Circuit
}

// Of makes candidates of circuits and memories.
func Of(circuits []*logic.Circuit, memories []*part.Part) (all []Candidate) {
	for _, c := range circuits {
		all = append(all, Candidate{c.Variant, c})
	}
	for _, p := range memories {
		for _, v := range p.Variants {
			all = append(all, Candidate{Variant: v})
		}
	}
	return all
}

// Fits reports whether a part has the package and the supply pins of a trace.
func (t Trace) Fits(v *part.Variant) bool {
	return v.Refusal == "" && len(v.Pins) == t.Pins && v.VCC() == t.VCC && v.GND() == t.GND
}

// Rank gives the fits of the candidates with the trace's package and supply pins, best
// first. It leaves out those that are far off.
func (t Trace) Rank(candidates []Candidate) (fits []Fit) {
	for _, c := range candidates {
		if !t.Fits(c.Variant) {
			continue
		}
		if f, near := t.fit(c); near {
			fits = append(fits, f)
		}
	}
	slices.SortStableFunc(fits, func(a, b Fit) int {
		switch {
		case a.Bits < b.Bits:
			return -1
		case a.Bits > b.Bits:
			return 1
		}
		return 0
	})
	return fits
}

// Blind is the price of the trace for a part that predicts nothing: that of the readings,
// and one bit a pin for whether it is an input or an output.
func (t Trace) Blind() float64 {
	r := newReader(t)
	r.bits = float64(r.signals.Len())
	for _, s := range t.Steps {
		for pin := range r.signals.All() {
			r.unforeseen(pin, s)
		}
	}
	return r.bits
}

// fit simulates a candidate from an unknown state and, if that explains more, from a known one.
func (t Trace) fit(c Candidate) (f Fit, near bool) {
	f, near = t.price(c, modelOf(c))
	if !near || f.Mismatches > 0 || !c.Remembers() {
		return f, near
	}
	if lanes, bits := t.statesOf(c); lanes != nil {
		from, _ := t.price(c, awake(c, lanes...))
		if from.Bits += bits; from.Mismatches == 0 && from.Bits < f.Bits {
			return from, true
		}
	}
	return f, true
}

// price compares a model with the whole trace.
func (t Trace) price(c Candidate, m model) (f Fit, near bool) {
	f.Candidate = c
	r := newReader(t)
	for _, s := range t.Steps {
		f.Lost = m.take(s) != 0 && m.forbidden() != 0 || f.Lost
		for pin := range r.signals.All() {
			p := m.predict(pin)
			switch r.judge(pin, s, p) {
			case wrong:
				f.Mismatches++
			case right:
				if p.value != logic.Z && r.moved(pin, s) {
					f.Right++
				}
			}
			r.note(pin, s)
		}
		if f.Mismatches > mostMismatches {
			return f, false
		}
	}
	f.Bits = r.bits + Mismatch*float64(f.Mismatches)
	f.model, _ = m.(*gates)
	return f, true
}

// statesOf tries states at random, one a lane, and gives the lanes of those that explain what
// was seen: the state at power-up, and the one after each loss of the state. It gives nil where
// no state does. The price, in bits, is that of choosing them.
func (t Trace) statesOf(c Candidate) (lanes []int, price float64) {
	m, r, alive := awake(c), newReader(t), allLanes
	choose := func() {
		lanes = append(lanes, bits.TrailingZeros64(alive))
		price += math.Log2(states / float64(bits.OnesCount64(alive)))
		alive = allLanes
	}
	for _, s := range t.Steps {
		if m.take(s) != 0 {
			choose()
		}
		for pin := range r.signals.All() {
			alive &= m.allows(pin, s)
		}
		if alive == 0 {
			return nil, 0
		}
	}
	choose()
	return lanes, price
}

// A prediction is what a part makes of a pin.
type prediction struct {
	value logic.Value // z where it releases the pin; x where it is not known
	// drives is set where the value is not known but the pin is not released.
	drives bool
	// pulledUp is set where a resistor inside may hold the pin high where it is released.
	pulledUp bool
	// weak is set where a high is that of a resistor: see gates.weak.
	weak     bool
	anything bool // nothing is known of the pin
}

type outcome uint8

const (
	open outcome = iota // neither right nor wrong
	right
	wrong
)

// A reader prices the readings of a trace, in order.
type reader struct {
	trace   Trace
	signals part.Pins
	bits    float64 // the price so far
	last    [part.MaxPins + 1]logic.Value
	seen    [part.MaxPins + 1]bool
	changes [part.MaxPins + 1][2]float64 // of each pin: how often it stayed, and how often it changed
}

func newReader(t Trace) *reader {
	return &reader{trace: t, signals: t.Signals()}
}

// Read is the level that a step shows at a pin.
func (s Step) Read(pin int) logic.Value {
	up := s.PulledUp.Has(pin)
	if (s.Low | s.High).Has(pin) {
		return logic.FromBool(up)
	}
	return logic.FromPulls(up, s.PulledDown.Has(pin))
}

// judge compares a pin's reading with the prediction, and adds the price of what was not
// predicted.
func (r *reader) judge(pin int, s Step, p prediction) outcome {
	seen := s.Read(pin)
	if p.anything {
		r.unforeseen(pin, s)
		return open
	}
	switch {
	case s.Driven.Has(pin) && p.value == logic.One, s.Low.Has(pin) && p.value == logic.X && seen == logic.One, s.High.Has(pin) && p.value == logic.X:
		r.unforeseen(pin, s) // of two drivers either may win
		return open
	case s.Low.Has(pin) && p.weak && p.value == logic.One:
		r.unforeseen(pin, s)
		return open
	case s.Low.Has(pin):
		return verdict((seen == logic.One) == (p.value == logic.One))
	case s.High.Has(pin):
		return verdict((seen == logic.Zero) == (p.value == logic.Zero))
	case p.value == logic.Z && p.pulledUp:
		return verdict(seen == logic.Z || seen == logic.One)
	case p.value == logic.One && p.weak:
		return verdict(seen == logic.Z || seen == logic.One)
	case p.value != logic.X:
		return verdict(seen == p.value)
	case p.drives && seen == logic.Z:
		r.bits += unsteady
	}
	r.unforeseen(pin, s)
	return open
}

func verdict(ok bool) outcome {
	if ok {
		return right
	}
	return wrong
}

// unforeseen adds the price of a reading that nothing predicts. Pins that read as they are
// held or driven cost nothing.
func (r *reader) unforeseen(pin int, s Step) {
	seen := s.Read(pin)
	if s.Low.Has(pin) && seen == logic.Zero || s.High.Has(pin) && seen == logic.One {
		return
	}
	n := &r.changes[pin]
	which := 0
	if r.seen[pin] && seen != r.last[pin] {
		which = 1
	}
	r.bits -= math.Log2((n[which] + 0.5) / (n[0] + n[1] + 1))
	n[which]++
	if which == 1 {
		r.bits++ // to which of the others
	}
	r.note(pin, s)
}

// moved reports whether a pin that is not held low has changed since it was last read.
func (r *reader) moved(pin int, s Step) bool {
	return !s.Low.Has(pin) && r.seen[pin] && s.Read(pin) != r.last[pin]
}

// note keeps a reading for the next.
func (r *reader) note(pin int, s Step) {
	if !(s.Low | s.High).Has(pin) || s.Read(pin) != logic.FromBool(s.High.Has(pin)) {
		r.last[pin], r.seen[pin] = s.Read(pin), true
	}
}
