package probe

import (
	"context"
	"math"
	"slices"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/match"
	"chipassay/vectors/part"
)

// What readings mean, V. A bipolar input that is pulled low stands at 1.6 V or less, and no
// high stands below 2.0 (design.md). An input that is held or driven low stands at 0.87 V or
// less, the heaviest at 1.5; an output that pulls up against it stands at 1.9 or more.
const (
	highVolts = 1.8
	// loadedHigh is the same under the load: a standard bipolar input stands at 0.8 to 1.1 V,
	// and an output with 2 kΩ to the supply, as the 7448's, at 1.5 (both by Ohm's law).
	loadedHigh = 1.35
	fightVolts = 1.7
	// certainVolts is a high that the adapter's digital input cannot miss: more than its VIH,
	// 0.6 of the rail.
	certainVolts = 3.3
	// lowVolts is what an input takes for a low: VIL, 0.8 V, and a reading's error.
	lowVolts = 0.85
	// weakVolts is below a high CMOS output against 10 kΩ, which stands at 4.5 V or more. An
	// input with a resistor to the supply stands at 3 V or less, and so may an NMOS output.
	weakVolts = 4.0
	// opposedVolts is above such an input when it is driven low through 120 Ω, 0.1 V or less by
	// Ohm's law. An NMOS output makes it 0.9 V.
	opposedVolts = 0.3
	// leastStanding tells a bipolar input from a MOS one when 10 kΩ pulls it low: a 74ALS input,
	// with the largest resistors, stands at 0.3 V or more, and a MOS one at 0.01 V or less
	// (design.md; from memory of the data books).
	leastStanding = 0.15
)

// What a step waits: a position with a low-side switch settles from its bias in 10 µs for
// a digital reading and in 40 µs for a voltage (design.md).
const (
	digitalSettle = 15 * time.Microsecond
	voltsSettle   = 50 * time.Microsecond
)

// perRequest is how many changes one request carries.
const perRequest = 8

// A Walker takes a chip from step to step and records what it does.
type Walker struct {
	socket  Socket
	record  *Record
	signals part.Pins
	never   part.Pins // held or driven

	held part.Pins // that are held low or high
	low  part.Pins // of these, those that are low

	loaded bool         // the load pulls beside the bias
	heavy  part.Pins    // that no resistor pulls low: they are driven low
	weak   part.Pins    // of these, those that a resistor inside seems to pull up
	tried  part.Pins    // whose low under the load was measured
	clear  part.Pins    // outputs whose highs read for certain without a voltage
	pulses int          // that a clock gets
	pulsed [2]part.Pins // that had their regular pulses, from all pins high and from all low
	anew   bool         // the next step is the first since the chip was switched on
}

// Begin finds the pins that may be inputs while all are biased high, and holds them there.
func Begin(ctx context.Context, socket Socket, seat Seat) (*Walker, error) {
	w := &Walker{socket: socket, never: seat.Untouchable,
		record: &Record{Trace: match.Trace{Pins: seat.Pins, VCC: seat.VCC, GND: seat.GND}}}
	w.signals = w.record.Signals()
	for i := range w.record.Standing {
		w.record.Standing[i], w.record.Loaded[i] = math.NaN(), math.NaN()
	}
	return w, w.directions(ctx)
}

// Again continues after the chip was switched off and on. The pins that may be inputs are found
// and held as in Begin; what was learned of pins is kept; nothing is known of the state.
func (w *Walker) Again(ctx context.Context) error {
	w.held, w.low, w.loaded, w.anew = 0, 0, false, true
	return w.directions(ctx)
}

// Record is what has been seen so far.
func (w *Walker) Record() *Record {
	w.record.Inputs = w.signals &^ w.record.Outputs
	return w.record
}

// Held gives the pins that Flip may change, and of these the ones that are low.
func (w *Walker) Held() (held, low part.Pins) { return w.held, w.low }

// Release releases pins and never holds them again: what they drive shows in every step.
func (w *Walker) Release(pins part.Pins) {
	w.never |= pins
	w.held, w.low = w.held&^pins, w.low&^pins
}

// pulls gives the bias and the load that pull some pins high and all others low.
func (w *Walker) pulls(high part.Pins) (bias, load adapter.Pull) {
	if w.loaded {
		load = adapter.PullUp(high)
	}
	return adapter.PullUp(high), load
}

// highs are the pins that stand high, by their voltage where it was measured.
func (w *Walker) highs(m adapter.Measured) (pins part.Pins) {
	least := highVolts
	if w.loaded {
		least = loadedHigh
	}
	for pin := range w.signals.All() {
		high := m.High.Has(pin)
		if v := m.Volts[pin]; !math.IsNaN(v) {
			high = v > least
		}
		pins = pins.With(pin, high)
	}
	return pins
}

// directions finds the pins that may be inputs while all are biased high, holds them there, and
// decides by their voltages how inputs are held low.
func (w *Walker) directions(ctx context.Context) error {
	step := func(high, measured part.Pins) adapter.MeasureStep {
		return adapter.MeasureStep{Bias: adapter.PullUp(high), Settle: voltsSettle, Pins: measured}
	}
	steps := []adapter.MeasureStep{step(w.signals, w.signals)}
	for pin := range w.signals.All() {
		steps = append(steps, step(w.signals.With(pin, false), part.PinSet(pin)))
	}
	seen, err := w.socket.Measure(ctx, steps)
	if err != nil || len(seen) < len(steps) {
		return err
	}
	r := w.record
	up := w.highs(seen[0])
	r.Steps = append(r.Steps, match.Step{High: w.signals, PulledUp: up, PulledDown: up, Anew: w.anew})
	w.anew = false
	i := 0
	weak := part.Pins(0)
	for pin := range w.signals.All() {
		i++
		down := w.highs(seen[i])
		r.Steps = append(r.Steps, match.Step{High: w.signals.With(pin, false), PulledUp: down.With(pin, up.Has(pin)), PulledDown: down})
		if up.Has(pin) && !down.Has(pin) {
			w.held = w.held.With(pin, !w.never.Has(pin))
			r.Standing[pin] = seen[i].Volts[pin]
			continue
		}
		if v := seen[i].Volts[pin]; up.Has(pin) && v < weakVolts && !r.Outputs.Has(pin) && !w.never.Has(pin) {
			weak |= part.PinSet(pin)
			r.Steps[len(r.Steps)-1].Between = part.PinSet(pin)
		}
		r.Outputs = r.Outputs.With(pin, true)
	}
	bipolar, known := r.Bipolar()
	w.loaded = known && bipolar && w.socket.Can().Load
	switch {
	case known && !bipolar:
		w.hold(weak)
	case !w.loaded:
		w.heavy = w.signals
	}
	return nil
}

// hold holds the pins of a MOS chip that the bias pulls down part of the way. What pulls them
// up is weak: once they are driven low, their voltage shows whether it is a resistor. Those
// that oppose the drive are outputs, are released, and are not held again.
func (w *Walker) hold(weak part.Pins) {
	w.weak, w.heavy = weak, w.heavy|weak
	w.held |= weak
	w.record.Outputs &^= weak
}

// Flip changes one pin after the other. It skips pins that are not held.
func (w *Walker) Flip(ctx context.Context, pins ...int) error {
	for len(pins) > 0 {
		var steps []adapter.MeasureStep
		var taken []match.Step
		for len(pins) > 0 && len(taken) < perRequest && (len(taken) == 0 || w.low&w.heavy == 0) {
			if pin := pins[0]; w.held.Has(pin) {
				steps = append(steps, w.edge(pin))
				w.low ^= part.PinSet(pin)
				steps = append(steps, w.rest())
				taken = append(taken, match.Step{Low: w.low, High: w.held &^ w.low, Driven: w.low & w.heavy})
			}
			pins = pins[1:]
		}
		if len(steps) == 0 {
			continue
		}
		seen, err := w.socket.Measure(ctx, steps)
		for i := range taken {
			if 2*i+1 < len(seen) {
				w.look(&taken[i], seen[2*i], seen[2*i+1])
				w.record.Steps = append(w.record.Steps, taken[i])
			}
		}
		if err != nil {
			return err
		}
		w.admit(taken[len(taken)-1])
	}
	return nil
}

// Stay takes steps in which nothing changes, to see what does not stand still. It holds no
// further pins.
func (w *Walker) Stay(ctx context.Context, steps int) error {
	up := w.rest()
	up.Bias, up.Load = w.pulls(w.held&^w.low | w.signals&^w.held)
	for left, n := steps, 0; left > 0; left -= n {
		n = min(left, perRequest)
		if w.low&w.heavy != 0 {
			n = 1
		}
		seen, err := w.socket.Measure(ctx, slices.Repeat([]adapter.MeasureStep{up, w.rest()}, n))
		for i := range len(seen) / 2 {
			step := match.Step{Low: w.low, High: w.held &^ w.low, Driven: w.low & w.heavy}
			w.look(&step, seen[2*i], seen[2*i+1])
			w.record.Steps = append(w.record.Steps, step)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// edge drives a pin to the other level while open pins are pulled high. The pulls are set
// before the drive. The bias still pulls the old way, so that the drive makes the edge.
func (w *Walker) edge(pin int) adapter.MeasureStep {
	high, opened := w.held&^w.low, w.signals&^w.held
	s := adapter.MeasureStep{Settle: digitalSettle}
	s.Driven = w.low & w.heavy
	s.Driven, s.Drive = s.Driven.With(pin, true), part.Pins(0).With(pin, w.low.Has(pin))
	if w.loaded { // a load against the drive would lift a low
		high = high.With(pin, w.low.Has(pin))
	}
	s.Bias, s.Load = w.pulls(high | opened)
	return s
}

// rest holds all held pins, and pulls open ones low.
func (w *Walker) rest() adapter.MeasureStep {
	s := adapter.MeasureStep{Settle: digitalSettle}
	s.Driven = w.low & w.heavy
	s.Bias, s.Load = w.pulls(w.held &^ w.low)
	s.Pins = w.signals&^w.held&^w.clear | w.low&w.heavy | w.low&^w.tried
	if s.Pins != 0 {
		s.Settle = voltsSettle
	}
	return s
}

// look reads one step, and releases pins that turned out to be outputs.
func (w *Walker) look(s *match.Step, up, down adapter.Measured) {
	s.PulledUp, s.PulledDown = w.highs(up), w.highs(down)
	for pin := range s.Low.All() {
		v := down.Volts[pin]
		if w.loaded && !s.Driven.Has(pin) && math.IsNaN(w.record.Loaded[pin]) {
			w.record.Loaded[pin] = v
		}
		fights := v > fightVolts || w.weak.Has(pin) && v > opposedVolts || math.IsNaN(v) && down.High.Has(pin)
		s.PulledUp, s.PulledDown = s.PulledUp.With(pin, fights), s.PulledDown.With(pin, fights)
		switch {
		case fights:
			w.release(pin)
		case v > lowVolts && !s.Driven.Has(pin): // no low: the chip may take it for either level
			s.Low, s.PulledUp = s.Low.With(pin, false), s.PulledUp.With(pin, true)
			w.heavy |= part.PinSet(pin)
		case !math.IsNaN(v):
			w.tried |= part.PinSet(pin)
		}
	}
	for pin := range s.High.All() {
		stands := s.PulledDown.Has(pin)
		s.PulledUp = s.PulledUp.With(pin, stands)
		if !stands {
			w.release(pin)
		}
	}
	opened := w.signals &^ s.Low &^ s.High
	low, high := w.levels()
	for pin := range opened.All() {
		v := down.Volts[pin]
		w.clear = w.clear.With(pin, w.clear.Has(pin) || v > max(certainVolts, high))
		s.Between = s.Between.With(pin, v > low && v < high)
	}
	w.record.Outputs |= opened & (s.PulledDown | ^s.PulledUp)
}

// levels are VIL and VIH of the chip's inputs at 5 V, V: of the bipolar families, or of CMOS.
func (w *Walker) levels() (low, high float64) {
	if bipolar, known := w.record.Bipolar(); known && !bipolar {
		return 1.5, 3.5
	}
	return 0.8, 2.0
}

func (w *Walker) release(pin int) {
	w.record.Outputs = w.record.Outputs.With(pin, true)
	w.held, w.low, w.weak = w.held.With(pin, false), w.low.With(pin, false), w.weak.With(pin, false)
}

// admit holds the open pins that followed their bias both ways in the last step.
func (w *Walker) admit(last match.Step) {
	w.held |= w.signals &^ last.Low &^ last.High &^ w.never & last.PulledUp &^ last.PulledDown
}

// Bipolar reports whether the inputs are bipolar; known is false where no pin that may be an
// input was measured. Open collectors and unconnected pins stand low, as MOS inputs do, so two
// pins that their own resistors pull up decide.
func (r *Record) Bipolar() (bipolar, known bool) {
	measured, standing := 0, 0
	for _, v := range r.Standing {
		if !math.IsNaN(v) {
			measured++
		}
		if v > leastStanding {
			standing++
		}
	}
	return standing >= 2 || measured <= 2 && standing > 0, measured > 0
}
