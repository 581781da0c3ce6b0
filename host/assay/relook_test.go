package assay_test

import (
	"context"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/virtual"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A hazyBench is a bench at which a high at pin 3 stands at some volts, where the
// adapter's inputs read either way: here low, under the low bias.
type hazyBench struct {
	*adapter.Seat
	volts, supply float64
}

func (b hazyBench) Apply(ctx context.Context, steps []stimulus.Step, bias adapter.Pull) ([]part.Pins, error) {
	read, err := b.Seat.Apply(ctx, steps, bias)
	for i := range read {
		read[i] = read[i].With(3, read[i].Has(3) && bias == adapter.High)
	}
	return read, err
}

func (b hazyBench) Measure(ctx context.Context, steps []adapter.MeasureStep) ([]adapter.Measured, error) {
	measured, err := b.Seat.Measure(ctx, steps)
	for i := range measured {
		if measured[i].Volts[3] > 2 && steps[i].Bias == adapter.Low {
			measured[i].Volts[3] = b.volts
		}
	}
	return measured, err
}

func (b hazyBench) SupplyVolts(context.Context) (float64, error) { return b.supply, nil }

// What the adapter's inputs may read either way, 1.5 to 3.0 V, its converter decides:
// 2.4 V is a high for every TTL input (VIH, 2.0 V), 1.8 V is none, and a good output
// with 4.75 V or more never stands there (VOH, 2.7 V). With less nobody knows.
func TestReadingsBetweenLowAndHighAreMeasured(t *testing.T) {
	for _, c := range []struct {
		volts, supply float64
		verdict       assay.Verdict
		says          string
	}{
		{2.4, 5.0, assay.PassBut, "measured, it is as expected"},
		{1.8, 5.0, assay.Fail, ""},
		{0.2, 5.0, assay.Fail, ""},
		{2.4, 4.6, assay.Pass, "measured, it is as expected"},
		{1.8, 4.6, assay.NotTested, "neither a low nor a high"},
		{0.2, 4.6, assay.Fail, "the supply may be at fault, not the chip"},
	} {
		typ := open(t, "74LS00")
		plan, err := assay.NewPlan(typ, nil)
		require.NoError(t, err)
		plan.EveryReadback = true
		a, seat, err := seatedOn(t.Context(), typ, chipOf(t, typ))
		require.NoError(t, err)
		defer a.Close()
		r := assay.Run(t.Context(), hazyBench{seat, c.volts, c.supply}, plan)
		require.Equal(t, c.verdict, r.Verdict, "%v: %s", c, r.Reason)
		require.InDelta(t, c.supply, r.SupplyVolts, 1e-9)
		if c.says != "" {
			require.Contains(t, strings.Join(append(r.Findings, r.Reason), "; "), c.says, "%v", c)
		}
	}
}

// A chip of the A series at the weak end of its data sheet, 0.12 mA at 2.5 V, does not hold a
// high against 10 kΩ. Its current is measured, and it is not accused; a dead one is.
func TestAWeakChipOfTheASeriesIsNotAccused(t *testing.T) {
	typ := open(t, "4011A")
	plan, err := assay.NewPlan(typ, nil)
	require.NoError(t, err)
	for _, c := range []struct {
		strength float64 // of a typical chip; 0.25 is the data sheet's least
		defects  []string
		verdicts []assay.Verdict
	}{
		{1, nil, []assay.Verdict{assay.Pass}},
		{0.3, nil, []assay.Verdict{assay.Pass, assay.PassBut}},
		{0.3, []string{"3 stuck low"}, []assay.Verdict{assay.Fail}},
		{0.1, nil, []assay.Verdict{assay.Fail, assay.PassBut}},
	} {
		chip := chipOf(t, typ, c.defects...)
		v := virtual.Nominal(typ)
		v.Strength = c.strength
		chip.Vary(v)
		a, seat, err := seatedOn(t.Context(), typ, chip)
		require.NoError(t, err)
		r := assay.Run(t.Context(), seat, plan)
		require.NoError(t, a.Close())
		require.Contains(t, c.verdicts, r.Verdict, "%v: %s", c, r.Reason)
	}
}
