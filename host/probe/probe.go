// Package probe explores a powered chip of which only the package and the supply pins
// are known. It records what the chip did, for vectors/match to compare with parts.
//
// Highs are made by the bias resistors, 10 kΩ, and lows by the drive, 120 Ω, so an
// output that pulls low shows at once and fights nothing. The rules:
//
//   - Pins that may be inputs are found one at a time: with all pins biased high, each is
//     biased low alone. A pin that follows both ways is no output in that state.
//   - Only such pins are ever driven. To give a clean edge, a pin that goes high is driven
//     high for some microseconds, and then held by its bias.
//   - After every step each driven pin is read. One that does not read as driven or held
//     is an output. It is released in the next request, and driven again only after it
//     has followed its bias both ways once more.
//   - One pin changes in each step, so no order of arrival matters.
//
// The steps depend only on the chip's answers: two pulses of each pin from all pins
// high, more for a clock; the same from all pins low; then single changes from a random
// seed. So the same chip gives the same trace.
package probe

import (
	"cmp"
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/fault"
	"chipassay/vectors/match"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A Socket measures on a powered chip, by its pins. *adapter.Seat is one.
type Socket interface {
	Measure(ctx context.Context, steps []adapter.MeasureStep) ([]adapter.Measured, error)
}

// A Seat is what is known of the chip.
type Seat struct {
	Pins, VCC, GND int
	// Untouchable are pins that are never driven.
	Untouchable part.Pins
}

// SeatOf is what probing takes for known of a chip of a variant.
func SeatOf(v *part.Variant) Seat {
	return Seat{Pins: len(v.Pins), VCC: v.VCC(), GND: v.GND()}
}

// Limits bound an exploration.
type Limits struct {
	Random int // single changes at random, after the regular steps; DefaultRandom where it is 0
	Seed   uint64
}

// DefaultRandom is how many single changes at random follow the regular steps.
const DefaultRandom = 120

// A Record is what an exploration found.
type Record struct {
	match.Trace
	Outputs part.Pins // that were seen to drive
	Inputs  part.Pins // that never were
	// Standing are the voltages at which the pins that followed their bias stood when
	// they were pulled low alone, V: near 0 for MOS inputs, and for TTL ones what their
	// own resistor makes of it. NaN where a pin was not measured or did not follow.
	Standing [part.MaxPins + 1]float64
}

// Walked gives the steps after the first, in which directions were found: those in which
// every pin that may be an input is driven or held. The open pins of each are compared.
func (r *Record) Walked() (steps []stimulus.Step, observed []fault.Observation) {
	signals := (part.Pins(1)<<r.Pins - 1) &^ part.PinSet(r.VCC, r.GND)
	for _, s := range r.Steps[min(1+signals.Len(), len(r.Steps)):] {
		driven := s.Low | s.High
		steps = append(steps, stimulus.Step{Driven: driven, Drive: s.High, Compared: signals &^ driven})
		observed = append(observed, fault.Observation{PulledUp: s.PulledUp, PulledDown: s.PulledDown})
	}
	return steps, observed
}

// What shows an output, V. A TTL input that is pulled low stands at 1.6 V or less, and no
// high stands below 2.0 (design.md). A driven input stands at 0.87 V or less, but for
// the heaviest, at 1.5; the upper transistors of a TTL output that is driven low make it 1.9 or more.
const (
	highVolts  = 1.8
	fightVolts = 1.7
)

// What the steps wait: a position with a low-side switch settles from its bias in 40 µs
// for a voltage (design.md).
const (
	edge   = 10 * time.Microsecond
	settle = 50 * time.Microsecond
)

// perRequest is how many steps one request carries: what an output may fight for, some 20 ms.
const perRequest = 8

// Explore explores the chip. With an error it gives what was seen before; the caller
// switches off.
func Explore(ctx context.Context, socket Socket, seat Seat, limits Limits) (*Record, error) {
	e := &explorer{
		ctx: ctx, socket: socket,
		signals: (part.Pins(1)<<seat.Pins - 1) &^ part.PinSet(seat.VCC, seat.GND),
		never:   seat.Untouchable,
		record:  &Record{Trace: match.Trace{Pins: seat.Pins, VCC: seat.VCC, GND: seat.GND}},
	}
	for i := range e.record.Standing {
		e.record.Standing[i] = math.NaN()
	}
	err := e.directions()
	if err == nil {
		err = e.walk(limits)
	}
	e.record.Inputs = e.signals &^ e.record.Outputs
	return e.record, err
}

type explorer struct {
	ctx     context.Context
	socket  Socket
	record  *Record
	signals part.Pins
	never   part.Pins // to be driven
	driven  part.Pins // that are driven low or held high
	low     part.Pins // those of them that are driven low
}

// pull biases pins high and all others low.
func (e *explorer) pull(pins part.Pins, measured part.Pins) adapter.MeasureStep {
	return adapter.MeasureStep{Step: stimulus.Step{Driven: e.low}, Bias: adapter.PullUp(pins), Settle: settle, Pins: measured}
}

// highs are the pins that stand high: by their voltage where it is measured.
func highs(m adapter.Measured, signals part.Pins) (pins part.Pins) {
	for pin := range signals.All() {
		high := m.High.Has(pin)
		if v := m.Volts[pin]; !math.IsNaN(v) {
			high = v > highVolts
		}
		pins = pins.With(pin, high)
	}
	return pins
}

// directions finds the pins that are no outputs while all are biased high.
func (e *explorer) directions() error {
	steps := []adapter.MeasureStep{e.pull(e.signals, e.signals)}
	for pin := range e.signals.All() {
		steps = append(steps, e.pull(e.signals.With(pin, false), part.PinSet(pin)))
	}
	seen, err := e.socket.Measure(e.ctx, steps)
	if err != nil || len(seen) < len(steps) {
		return err
	}
	up := highs(seen[0], e.signals)
	e.record.Steps = append(e.record.Steps, match.Step{High: e.signals, PulledUp: up, PulledDown: up})
	i := 0
	for pin := range e.signals.All() {
		i++
		down := highs(seen[i], e.signals)
		e.record.Steps = append(e.record.Steps, match.Step{High: e.signals.With(pin, false), PulledUp: up, PulledDown: down})
		if up.Has(pin) && !down.Has(pin) {
			e.driven = e.driven.With(pin, !e.never.Has(pin))
			e.record.Standing[pin] = seen[i].Volts[pin]
		} else {
			e.record.Outputs = e.record.Outputs.With(pin, true)
		}
	}
	return nil
}

// burst is how many pulses a clock gets: through all states of a counter of four bits.
const burst = 20

// walk takes the regular steps and then those at random.
func (e *explorer) walk(limits Limits) error {
	inputs := slices.Collect(e.driven.All())
	if err := e.pulse(inputs); err != nil {
		return err
	}
	if e.record.Outputs == 0 {
		if err := e.select2(inputs); err != nil {
			return err
		}
	}
	if err := e.flip(inputs); err != nil {
		return err
	}
	if e.record.Outputs == 0 {
		if err := e.select2(inputs); err != nil {
			return err
		}
	}
	if err := e.pulse(inputs); err != nil {
		return err
	}
	random := rand.New(rand.NewPCG(limits.Seed, 0))
	for left := cmp.Or(limits.Random, DefaultRandom); left > 0; {
		flips := e.drawn(random, perRequest)
		if len(flips) == 0 {
			return nil
		}
		left -= len(flips)
		if err := e.flip(flips); err != nil {
			return err
		}
	}
	return nil
}

// pulse gives each pin two pulses, and a burst where the second leaves the chip in
// another state than the first: the pin is a clock.
func (e *explorer) pulse(pins []int) error {
	for _, pin := range pins {
		before := len(e.record.Steps)
		if err := e.flip([]int{pin, pin, pin, pin}); err != nil {
			return err
		}
		s := e.record.Steps[before:]
		if len(s) < 4 || s[1] == s[3] {
			continue
		}
		if err := e.flip(slices.Repeat([]int{pin}, 2*burst)); err != nil {
			return err
		}
	}
	return nil
}

// select2 changes each two pins together, until something drives: a memory answers only
// while all its selects are active, and an output that only pulls low shows only while it
// is held high. Around that state it pulses the others.
func (e *explorer) select2(pins []int) error {
	for i, first := range pins {
		if err := e.flip([]int{first}); err != nil {
			return err
		}
		for _, second := range pins[i+1:] {
			if err := e.flip([]int{second}); err != nil {
				return err
			}
			if e.record.Outputs != 0 {
				return e.pulse(slices.Collect((e.driven &^ part.PinSet(first, second) &^ e.record.Outputs).All()))
			}
			if err := e.flip([]int{second}); err != nil {
				return err
			}
		}
		if err := e.flip([]int{first}); err != nil {
			return err
		}
	}
	return nil
}

// drawn draws changes: rarely of pins that were outputs once, and now and then a few
// pulses of one pin.
func (e *explorer) drawn(random *rand.Rand, n int) (flips []int) {
	inputs := slices.Collect((e.driven &^ e.record.Outputs).All())
	turned := slices.Collect((e.driven & e.record.Outputs).All())
	for len(flips) < n {
		from := inputs
		if len(turned) > 0 && (len(inputs) == 0 || random.IntN(6) == 0) {
			from = turned
		}
		if len(from) == 0 {
			return nil
		}
		pin := from[random.IntN(len(from))]
		flips = append(flips, pin)
		if random.IntN(4) == 0 {
			flips = append(flips, pin, pin, pin, pin)
		}
	}
	return flips
}

// flip changes one pin after the other, where it may still be driven.
func (e *explorer) flip(flips []int) error {
	for some := range slices.Chunk(flips, perRequest) {
		var steps []adapter.MeasureStep
		var taken []match.Step
		for _, pin := range some {
			if !e.driven.Has(pin) {
				continue
			}
			e.low ^= part.PinSet(pin)
			high := e.driven &^ e.low
			opened := e.signals &^ e.driven
			edged := e.pull(e.signals, 0)
			edged.Driven, edged.Drive, edged.Settle = e.driven, high, edge
			steps = append(steps, edged, e.pull(high|opened, e.low|opened), e.pull(high, opened))
			taken = append(taken, match.Step{Low: e.low, High: high})
		}
		if len(steps) == 0 {
			continue
		}
		seen, err := e.socket.Measure(e.ctx, steps)
		for i := range taken {
			if 3*i+2 < len(seen) {
				e.look(&taken[i], seen[3*i+1], seen[3*i+2])
				e.record.Steps = append(e.record.Steps, taken[i])
			}
		}
		if err != nil {
			return err
		}
		e.admit(taken[len(taken)-1])
	}
	return nil
}

// look reads one step, and releases what turned out to be an output.
func (e *explorer) look(s *match.Step, up, down adapter.Measured) {
	s.PulledUp, s.PulledDown = highs(up, e.signals), highs(down, e.signals)
	for pin := range (s.Low & e.signals).All() {
		v := up.Volts[pin]
		fights := v > fightVolts || math.IsNaN(v) && up.High.Has(pin)
		s.PulledUp, s.PulledDown = s.PulledUp.With(pin, fights), s.PulledDown.With(pin, fights)
		if fights {
			e.release(pin)
		}
	}
	for pin := range s.High.All() {
		if !s.PulledUp.Has(pin) || !s.PulledDown.Has(pin) {
			e.release(pin)
		}
	}
	opened := e.signals &^ s.Low &^ s.High
	e.record.Outputs |= opened & (s.PulledDown | ^s.PulledUp)
}

func (e *explorer) release(pin int) {
	e.record.Outputs = e.record.Outputs.With(pin, true)
	e.driven, e.low = e.driven.With(pin, false), e.low.With(pin, false)
}

// admit takes in the open pins that followed their bias both ways in the last step.
func (e *explorer) admit(last match.Step) {
	e.driven |= e.signals &^ last.Low &^ last.High &^ e.never & last.PulledUp &^ last.PulledDown
}
