package probe_test

import (
	"context"
	"errors"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/adapter"
	"chipassay/host/probe"
	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/match"
	"chipassay/vectors/part"
)

// A bench is a chip in plain Go in a socket that notes what fights.
type bench struct {
	pins, vcc, gnd int
	bipolar        bool // an input that is pulled low stands at 1.4 V and acts as a high
	// drives gives what the chip drives at the levels of its pins; what it releases is missing.
	drives func(level func(pin int) bool) map[int]bool
	fights int // steps that were read while an output was driven to the other level
	asked  int // requests
	worst  int // the most such steps of one request
	loads  bool
	// pulled are pins that a resistor of 10 kΩ inside pulls up, and nmos outputs that stand at
	// 2.5 V against the bias and at 0.9 V against the drive.
	pulled, nmos part.Pins
	heavy        bool // the load pulls an input to 1.2 V only, which is a high to the chip
}

func (b *bench) Can() adapter.Abilities { return adapter.Abilities{Load: b.loads} }

func (b *bench) Measure(_ context.Context, steps []adapter.MeasureStep) (all []adapter.Measured, err error) {
	b.asked++
	fights := 0
	for _, s := range steps {
		level := func(pin int) bool {
			switch {
			case s.Driven.Has(pin):
				return s.Drive.Has(pin)
			case s.Bias.Up.Has(pin), b.pulled.Has(pin):
				return true
			}
			return b.bipolar && (!s.Load.On || b.heavy)
		}
		out := b.drives(level)
		m := adapter.Measured{}
		for pin := range m.Volts {
			m.Volts[pin] = math.NaN()
		}
		for pin := 1; pin <= b.pins; pin++ {
			volts := 0.0
			high, drives := out[pin]
			switch {
			case s.Driven.Has(pin) && drives && high != s.Drive.Has(pin):
				volts = map[bool]float64{true: 2.2, false: 0.6}[high] // through 120 Ω
				fights++
			case s.Driven.Has(pin) && b.nmos.Has(pin):
				volts = 0.9
				fights++
			case s.Driven.Has(pin):
				volts = map[bool]float64{true: 5, false: 0.2}[s.Drive.Has(pin)]
			case drives:
				volts = map[bool]float64{true: 3.4, false: 0.2}[high]
			case s.Bias.Up.Has(pin):
				volts = 5
			case (b.pulled | b.nmos).Has(pin):
				volts = 2.5 // between two equal resistors (Ohm's law)
			case b.bipolar && s.Load.On && b.heavy:
				volts = 1.2
			case b.bipolar && s.Load.On:
				volts = 0.8
			case b.bipolar:
				volts = 1.4
			}
			m.High = m.High.With(pin, volts > 1.5)
			if s.Pins.Has(pin) {
				m.Volts[pin] = volts
			}
		}
		all = append(all, m)
	}
	b.fights += fights
	b.worst = max(b.worst, fights)
	return all, nil
}

// The chips, by their data books' tables (from memory).
func nands(outputs map[int][2]int) func(func(int) bool) map[int]bool {
	return func(level func(int) bool) map[int]bool {
		out := map[int]bool{}
		for y, in := range outputs {
			out[y] = !(level(in[0]) && level(in[1]))
		}
		return out
	}
}

// A 74245: the low enable at 19, the direction at 1, A at 2 to 9 and B at 18 to 11.
func transceiver(level func(int) bool) map[int]bool {
	out := map[int]bool{}
	if level(19) {
		return out
	}
	for a := 2; a <= 9; a++ {
		b := 20 - a
		if level(1) {
			out[b] = level(a)
		} else {
			out[a] = level(b)
		}
	}
	return out
}

func explore(t *testing.T, b *bench) *probe.Record {
	t.Helper()
	r, err := probe.Explore(t.Context(), b, probe.Seat{Pins: b.pins, VCC: b.vcc, GND: b.gnd}, probe.Limits{})
	require.NoError(t, err)
	return r
}

func named(t *testing.T, r *probe.Record) (numbers []string) {
	t.Helper()
	parts, err := library.All()
	require.NoError(t, err)
	circuits, err := logic.CompileAll(parts)
	require.NoError(t, err)
	fits := r.Rank(match.Of(circuits, nil))
	for _, f := range fits {
		if f.Bits <= fits[0].Bits+1 {
			numbers = append(numbers, f.Variant.Part.Number)
		}
	}
	return numbers
}

// Outputs of a gate are found and are never driven; and the same number of gates with
// the outputs elsewhere is another part: 7400 and 4011 (data books, from memory).
func TestGatesAreToldApartAndTheirOutputsNeverDriven(t *testing.T) {
	for _, c := range []struct {
		number  string
		bipolar bool
		gates   map[int][2]int
	}{
		{"7400", true, map[int][2]int{3: {1, 2}, 6: {4, 5}, 8: {9, 10}, 11: {12, 13}}},
		{"4011", false, map[int][2]int{3: {1, 2}, 4: {5, 6}, 10: {8, 9}, 11: {12, 13}}},
	} {
		b := &bench{pins: 14, vcc: 14, gnd: 7, bipolar: c.bipolar, drives: nands(c.gates)}
		r := explore(t, b)
		for pin := range r.Outputs.All() {
			require.Contains(t, c.gates, pin, c.number)
		}
		require.Equal(t, 4, r.Outputs.Len(), c.number)
		require.Zero(t, b.fights, c.number)
		require.Contains(t, named(t, r), c.number)
		require.Less(t, b.asked, len(r.Steps), "in few requests")
		for pin := range r.Inputs.All() {
			require.InDelta(t, map[bool]float64{true: 1.4, false: 0}[c.bipolar], r.Standing[pin], 0.01, "%s, pin %d", c.number, pin)
		}
	}
}

// Where pins turn round, an output may meet a driven low: it is released in the next request.
func TestAPinThatTurnsIsReleased(t *testing.T) {
	b := &bench{pins: 20, vcc: 20, gnd: 10, drives: transceiver}
	r := explore(t, b)
	require.Contains(t, named(t, r), "74245")
	require.Equal(t, part.PinSet(2, 3, 4, 5, 6, 7, 8, 9, 11, 12, 13, 14, 15, 16, 17, 18), r.Outputs)
	require.Less(t, b.fights, len(r.Steps)/2)
	require.LessOrEqual(t, b.worst, 3*8*8, "eight pins in eight steps of three readings")
}

// The same chip gives the same trace.
func TestATraceRepeats(t *testing.T) {
	b := bench{pins: 20, vcc: 20, gnd: 10, drives: transceiver}
	first, again := b, b
	require.Equal(t, explore(t, &first).Trace, explore(t, &again).Trace)
}

// Pins that are not to be touched are not driven.
func TestUntouchablePinsAreNotDriven(t *testing.T) {
	b := &bench{pins: 14, vcc: 14, gnd: 7, drives: nands(map[int][2]int{3: {1, 2}})}
	r, err := probe.Explore(t.Context(), b, probe.Seat{Pins: 14, VCC: 14, GND: 7, Untouchable: part.PinSet(1)}, probe.Limits{Random: 10})
	require.NoError(t, err)
	for _, s := range r.Steps[13:] {
		require.False(t, s.Low.Has(1))
	}
}

// Where the load is fitted, bipolar inputs are held through it, and driven only for their
// edges, one pin at a time; inputs that it does not pull low are driven, one change a request.
func TestBipolarInputsAreHeldThroughTheLoad(t *testing.T) {
	gates := map[int][2]int{3: {1, 2}, 6: {4, 5}, 8: {9, 10}, 11: {12, 13}}
	for _, heavy := range []bool{false, true} {
		b := &recording{bench: bench{pins: 14, vcc: 14, gnd: 7, bipolar: true, loads: true, heavy: heavy, drives: nands(gates)}}
		r, err := probe.Explore(t.Context(), b, probe.Seat{Pins: 14, VCC: 14, GND: 7}, probe.Limits{Random: 40})
		require.NoError(t, err)
		require.Equal(t, part.PinSet(3, 6, 8, 11), r.Outputs)
		require.Zero(t, b.fights)
		for _, request := range b.requests[1:] {
			for i := 0; i < len(request); i += 2 {
				edge, rest := request[i], request[i+1]
				require.True(t, edge.Load.On && rest.Load.On)
				require.Equal(t, 1, (edge.Driven&^rest.Driven).Len()|(rest.Driven&^edge.Driven).Len()|b2i(heavy), "one pin is driven for its edge")
				if !heavy {
					require.Zero(t, rest.Driven)
				} else if rest.Driven != 0 && i > 0 {
					require.Zero(t, request[i-1].Driven, "more than one change while a pin is driven")
				}
			}
		}
		require.Contains(t, named(t, r), "7400")
	}
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// A recording keeps what a bench was asked.
type recording struct {
	bench
	requests [][]adapter.MeasureStep
}

func (r *recording) Measure(ctx context.Context, steps []adapter.MeasureStep) ([]adapter.Measured, error) {
	r.requests = append(r.requests, steps)
	return r.bench.Measure(ctx, steps)
}

// Released pins are not held again, and nothing changes in steps in which the chip stays.
func TestReleasedPinsStayReleased(t *testing.T) {
	b := &bench{pins: 14, vcc: 14, gnd: 7, drives: nands(map[int][2]int{3: {1, 2}})}
	w, err := probe.Begin(t.Context(), b, probe.Seat{Pins: 14, VCC: 14, GND: 7})
	require.NoError(t, err)
	w.Release(part.PinSet(4, 5))
	require.NoError(t, w.Flip(t.Context(), 4, 5, 1))
	require.NoError(t, w.Stay(t.Context(), 3))
	held, low := w.Held()
	require.Zero(t, held&part.PinSet(4, 5))
	require.Equal(t, part.PinSet(1), low)
	steps := w.Record().Steps
	last := steps[len(steps)-4:]
	for _, s := range last {
		require.Equal(t, last[0], s)
	}
}

// Pin 1 of a chip that is put in backwards is where pin 8 of 14 should be (the drawing of the
// package), and a supply at the corners swaps.
func TestABackwardsChipIsTurnedByHalf(t *testing.T) {
	require.Equal(t, probe.Seat{Pins: 14, VCC: 7, GND: 14}, probe.Seat{Pins: 14, VCC: 14, GND: 7}.Turned())
	require.Equal(t, probe.Seat{Pins: 14, VCC: 12, GND: 3}, probe.Seat{Pins: 14, VCC: 5, GND: 10}.Turned(), "a 7490's (data book)")
	require.Equal(t, 8, probe.Seat{Pins: 14}.Opposite(1))
	require.Equal(t, 1, probe.Seat{Pins: 14}.Opposite(8))
}

// A MOS input that a resistor inside pulls up is driven low, and held: the gate is read through
// it. An NMOS output, which the bias pulls down as far, opposes the drive once and never again.
func TestAnInputWithAPullUpIsDriven(t *testing.T) {
	b := &bench{pins: 14, vcc: 14, gnd: 7, pulled: part.PinSet(1, 2), nmos: part.PinSet(10), drives: nands(map[int][2]int{3: {1, 2}})}
	r := explore(t, b)
	require.Equal(t, part.PinSet(3, 10), r.Outputs)
	low := false
	for _, s := range r.Steps[13:] {
		low = low || s.Low.Has(1) && s.Driven.Has(1) && s.PulledDown.Has(3)
	}
	require.True(t, low, "1 low makes 3 high")
	require.LessOrEqual(t, b.fights, 2, "the edge, and the reading after it")
}

var errTrip = errors.New("tripped")

// A tripping socket switches off at one request.
type tripping struct {
	bench
	at int
}

func (t *tripping) Measure(ctx context.Context, steps []adapter.MeasureStep) ([]adapter.Measured, error) {
	if t.at--; t.at == 0 {
		return nil, errTrip
	}
	return t.bench.Measure(ctx, steps)
}

// After the chip was switched off and on, the regular steps continue with the pins that had
// none, and the trace shows where nothing was known of the state.
func TestAfterATripTheRegularStepsContinue(t *testing.T) {
	gates := map[int][2]int{3: {1, 2}, 6: {4, 5}, 8: {9, 10}, 11: {12, 13}}
	for _, loads := range []bool{false, true} {
		whole := &bench{pins: 14, vcc: 14, gnd: 7, bipolar: loads, loads: loads, drives: nands(gates)}
		seat := probe.Seat{Pins: 14, VCC: 14, GND: 7}
		w, err := probe.Begin(t.Context(), whole, seat)
		require.NoError(t, err)
		require.NoError(t, w.Regular(t.Context(), probe.Pulses))

		b := &tripping{bench: *whole, at: 6}
		again, err := probe.Begin(t.Context(), b, seat)
		require.NoError(t, err)
		require.ErrorIs(t, again.Regular(t.Context(), probe.Pulses), errTrip)
		before := len(again.Record().Steps)
		require.NoError(t, again.Again(t.Context()))
		require.NoError(t, again.Regular(t.Context(), probe.Pulses))
		steps := again.Record().Steps
		for i, s := range steps {
			require.Equal(t, i == before, s.Anew, "step %d", i)
		}
		require.Equal(t, w.Record().Outputs, again.Record().Outputs)
		require.LessOrEqual(t, len(steps), len(w.Record().Steps)+13+4, "the directions and one pin's pulses once more")
	}
}
