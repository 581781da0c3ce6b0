package levels_test

import (
	"context"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/adapter"
	"chipassay/host/assay/levels"
	"chipassay/host/virtual"
	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A meterBench measures a chip of n pins in a virtual socket, by its own pin numbers.
type meterBench struct {
	*virtual.Socket
	n int
}

func (b meterBench) ApplyPulls(_ context.Context, steps []stimulus.Step, bias, load adapter.Pull) (read []part.Pins, err error) {
	b.pulls(bias, load)
	for _, st := range steps {
		b.Drive(b.word(st.Driven), b.word(st.Drive))
	}
	return make([]part.Pins, len(steps)), nil // nobody reads them
}

func (b meterBench) Measure(_ context.Context, steps []adapter.MeasureStep) (measured []adapter.Measured, err error) {
	for _, st := range steps {
		b.pulls(st.Bias, st.Load)
		b.Drive(b.word(st.Driven), b.word(st.Drive))
		m := adapter.Measured{CurrentMA: b.milliamps()}
		for pin := range m.Volts { // all positions: the far converters are fitted
			m.Volts[pin] = math.NaN()
			if pin > 0 && st.Pins.Has(pin) {
				m.Volts[pin] = float64(b.Millivolts(adapter.PositionOf(pin, b.n))) / 1000
			}
		}
		measured = append(measured, m)
	}
	return measured, nil
}

// milliamps is the chip's supply current: the monitor counts the base current of the
// switch too, 5 V less a junction across 2.2 kΩ and the MCU's output (Ohm's law).
func (b meterBench) milliamps() float64 {
	const base = (5 - 0.75) / (2_200 + 25) * 1000 // mA
	return max(0, float64(b.CurrentMicroamps())/1000-base)
}

func (b meterBench) pulls(bias, load adapter.Pull) {
	b.Pull(virtual.BiasPull, bias.On, b.word(bias.Up))
	b.Pull(virtual.LoadPull, load.On, b.word(load.Up))
}

// Constants are those of the design, and the rail as the reference gives it.
func (b meterBench) Constants(context.Context) (adapter.Constants, error) {
	return adapter.Constants{SupplyVolts: b.RailVolts(), BiasOhms: 10_000, LoadOhms: 1_000, DriveOhms: 145}, nil
}

func (b meterBench) SupplyVolts(context.Context) (float64, error) { return 5, nil }

func (b meterBench) HoldLoad(adapter.Pull) {}

func (b meterBench) Can() adapter.Abilities { return adapter.Abilities{Load: true} }

func (b meterBench) word(pins part.Pins) (w adapter.Word) {
	for p := range (pins & (1<<b.n - 1)).All() {
		w |= adapter.At(adapter.PositionOf(p, b.n))
	}
	return w
}

// powerOn powers a chip, all pins biased low: no MOS input floats when the supply comes.
func powerOn(s *virtual.Socket, v *part.Variant) {
	vcc, gnd := adapter.At(adapter.PositionOf(v.VCC(), len(v.Pins))), adapter.At(adapter.PositionOf(v.GND(), len(v.Pins)))
	s.Drive(0, 0)
	s.Pull(virtual.LoadPull, false, 0)
	s.Pull(virtual.BiasPull, true, vcc)
	s.Supply(vcc, gnd)
}

func chipOf(t testing.TB, typ part.Type, defects ...string) *virtual.Chip {
	t.Helper()
	var all []virtual.Defect
	for _, text := range defects {
		d, err := virtual.ParseDefect(text)
		require.NoError(t, err)
		all = append(all, d)
	}
	chip, err := virtual.NewChip(typ, all...)
	require.NoError(t, err)
	return chip
}

// measured powers a chip and measures its levels.
func measured(t testing.TB, typ part.Type, defects ...string) *levels.Levels {
	t.Helper()
	c, err := logic.Compile(typ.Variant)
	require.NoError(t, err)
	s, err := stimulus.For(c)
	require.NoError(t, err)
	socket := virtual.NewSocket(chipOf(t, typ, defects...), 1)
	powerOn(socket, typ.Variant)
	l, err := levels.Measure(t.Context(), meterBench{socket, len(typ.Variant.Pins)}, typ, s.Steps)
	require.NoError(t, err)
	return l
}

func open(t testing.TB, typed string) part.Type {
	t.Helper()
	typ, err := library.Open(typed)
	require.NoError(t, err)
	return typ
}

func reading(t testing.TB, l *levels.Levels, pin int, q levels.Quantity) levels.Reading {
	t.Helper()
	for _, r := range l.Readings {
		if r.Pin == pin && r.Quantity == q {
			return r
		}
	}
	t.Fatalf("no %s of pin %d among %v; unmeasured %v", q, pin, l.Readings, l.Unmeasured)
	return levels.Reading{}
}
