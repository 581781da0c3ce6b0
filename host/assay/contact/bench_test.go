package contact_test

import (
	"context"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/adapter"
	"chipassay/host/assay/contact"
	"chipassay/host/virtual"
	"chipassay/vectors/part"
)

// A bench is the board of an adapter by hand: it probes a virtual socket directly.
type bench struct{ *virtual.Socket }

func positionsWord(positions part.Pins) (w adapter.Word) {
	for p := range positions.All() {
		w |= adapter.At(p)
	}
	return w
}

func wordPositions(w adapter.Word) (positions part.Pins) {
	for p := range w.Positions() {
		positions = positions.With(p, true)
	}
	return positions
}

// pull sets a group of resistors, by a word of positions.
func pull(s *virtual.Socket, which virtual.Pull, p adapter.Pull, word func(part.Pins) adapter.Word) {
	s.Pull(which, p.On, word(p.Up))
}

func (b bench) ProbeMeasure(_ context.Context, steps []adapter.MeasureStep) (measured []adapter.Measured, err error) {
	for _, st := range steps {
		pull(b.Socket, virtual.BiasPull, st.Bias, positionsWord)
		pull(b.Socket, virtual.LoadPull, st.Load, positionsWord)
		b.Drive(positionsWord(st.Driven), positionsWord(st.Drive))
		m := adapter.Measured{High: wordPositions(b.Sample())}
		for p := range m.Volts {
			m.Volts[p] = math.NaN()
			if p > 0 && st.Pins.Has(p) {
				m.Volts[p] = float64(b.Millivolts(p)) / 1000
			}
		}
		measured = append(measured, m)
	}
	return measured, nil
}

func (b bench) Ground(_ context.Context, positions part.Pins) error {
	b.Drive(0, 0)
	b.Supply(0, positionsWord(positions))
	return nil
}

func (b bench) Can() adapter.Abilities {
	return adapter.Abilities{Reach: everywhere, Ground: part.PinSet(virtual.SupplyLow...), Measure: everywhere}
}

func (b bench) Constants(context.Context) (adapter.Constants, error) {
	return adapter.Constants{SupplyVolts: b.RailVolts(), BiasOhms: 10_000, LoadOhms: 1_000, DriveOhms: 145}, nil
}

const everywhere part.Pins = 1<<adapter.Positions - 1

// seating finds how a chip with defects is seated.
func seating(t testing.TB, typ part.Type, defects ...string) contact.Seating {
	t.Helper()
	s, err := contact.Test(t.Context(), bench{virtual.NewSocket(chipOf(t, typ, defects...), 1)}, typ)
	require.NoError(t, err)
	return s
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
