package part_test

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"chipassay/vectors/part"
)

// Common practice, worked from IIL, IIH, VIL and VIH by hand.
func TestPull(t *testing.T) {
	for _, c := range []struct {
		family          string
		up              bool
		ohms, inputs    float64
		volts           float64
		valid           bool
		largest, within float64
		why             string
	}{
		{"74LS", false, 1000, 1, 0.40, true, 2000, 1, "common practice: 1 kΩ holds an LS input low"},
		{"74", false, 1000, 1, 1.60, false, 500, 1, "common practice: 1 kΩ does not hold a standard TTL input low"},
		{"74", false, 330, 1, 0.528, true, 500, 1, "330 Ω does"},
		{"74", false, 330, 2, 1.056, false, 250, 1, "but not two of them"},
		{"74S", false, 470, 1, 0.94, false, 400, 1, "2 mA × 470 Ω"},
		{"74", true, 1000, 10, 4.35, true, 6875, 1, "1 kΩ ties ten unused inputs high: 4.75 V less 0.4 V"},
		{"74LS", true, 10_000, 1, 4.55, true, 137_500, 1, "20 µA × 10 kΩ"},
		{"74HC", true, 10_000, 1, 4.74, true, 1.25e6, 1, "1 µA × 10 kΩ; 4.75 V less 3.5 V at most"},
		{"4000B", false, 100_000, 1, 0.03, true, 5e6, 1, "0.3 µA × 100 kΩ"},
	} {
		f := part.FamilyByName(c.family)
		p := part.PullDown(f, c.ohms, c.inputs)
		if c.up {
			p = part.PullUp(f, c.ohms, c.inputs)
		}
		require.InDelta(t, c.volts, p.Volts, 0.001, c.why)
		require.Equal(t, c.valid, p.Valid, c.why)
		require.InDelta(t, c.largest, p.Largest, c.within, c.why)
	}
}

// The largest resistor is valid and anything above it is not, for every family.
func TestLargestPullIsTheLimit(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		f := rapid.SampledFrom(part.Families).Draw(r, "family")
		inputs := rapid.Float64Range(0.25, 20).Draw(r, "inputs")
		for _, pull := range []func(*part.Family, float64, float64) part.Pull{part.PullDown, part.PullUp} {
			largest := pull(f, 1000, inputs).Largest
			if !pull(f, largest*0.999, inputs).Valid || pull(f, largest*1.001, inputs).Valid {
				r.Fatalf("%s, %g loads: %g Ω is not the limit", f.Name, inputs, largest)
			}
		}
	})
}

func TestLEDOhms(t *testing.T) {
	for _, c := range []struct {
		family      string
		class       part.Drive
		forward, mA float64
		ohms, flows float64
	}{
		{"74", part.StandardDrive, 1.8, 10, 330, 8.48},    // 2.8 V / 10 mA = 280 Ω
		{"74LS", part.StandardDrive, 1.8, 10, 390, 6.92},  // 2.7 V / 8 mA = 338 Ω: IOL decides
		{"74LS", part.BufferDrive, 1.8, 20, 150, 18.0},    // 2.7 V / 20 mA = 135 Ω
		{"4000B", part.StandardDrive, 1.8, 5, 6800, 0.41}, // 2.8 V / 0.44 mA = 6364 Ω
	} {
		ohms, flows, err := part.LEDOhms(part.FamilyByName(c.family), c.class, c.forward, c.mA)
		require.NoError(t, err)
		require.InDelta(t, c.ohms, ohms, 0.01)
		require.InDelta(t, c.flows, flows, 0.01)
	}
	_, _, err := part.LEDOhms(part.FamilyByName("74"), part.StandardDrive, 5, 10)
	require.Error(t, err)
}

// IEC 60063, series E12.
func TestE12(t *testing.T) {
	for _, c := range []struct{ ohms, above, below float64 }{
		{280, 330, 270}, {338, 390, 330}, {100, 100, 100}, {470, 470, 470}, {500, 560, 470}, {9.1, 10, 8.2}, {990, 1000, 820}, {137_500, 150_000, 120_000},
	} {
		require.InDelta(t, c.above, part.E12Above(c.ohms), 1e-6*c.above)
		require.InDelta(t, c.below, part.E12Below(c.ohms), 1e-6*c.below)
	}
}
