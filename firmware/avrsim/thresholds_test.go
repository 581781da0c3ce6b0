//go:build simavr

package avrsim

import (
	"math"
	"testing"

	"chipassay/host/assay"
	"chipassay/host/assay/thresholds"
	"chipassay/host/virtual"
)

// The capacitor before power, and the thresholds of an input of the powered chip, as in host/assay, by the
// real program: its releases come some 10 µs after the edge, in which a TTL input that the drive pulls
// down falls by 50 mV and more, and it converts some 20 µs after that, in which its current lifts it by 20. The model's typical
// thresholds come out all the same, whenever the requests come and the program's interrupts with them.
func TestThresholdsByTheAVR(t *testing.T) {
	for _, c := range []struct {
		name, defect  string
		farads        float64
		rising, falls float64 // V
		share         bool
	}{
		{"7414", "", 1e-6, 1.7, 0.9, false},
		{"7414", "1 no hysteresis", 1e-6, 1.3, 1.3, false},
		{"74HC14", "", 1e-6, 2.6, 1.6, true},
		{"7400", "", 2.2e-6, 1.35, 1.35, false},
		{"4024B", "", 1e-6, 0, 2.2, true}, // a clock that counts as it falls, after a reset and some counts with the capacitor at it
	} {
		var defects []string
		if c.defect != "" {
			defects = append(defects, c.defect)
		}
		typ := named(t, c.name)
		chip := socket(t, c.name, defects...)
		bench, err := NewBench(chip)
		if err != nil {
			t.Fatal(err)
		}
		chip.Clip(virtual.Capacitor{Farads: c.farads, P: 1}) // not before: the adapter would take its switches for faulty
		s := seat(t, serve(t, bench).Conn, typ.Variant)
		farads, err := thresholds.Capacitor(t.Context(), s, 1, len(typ.Variant.Pins), c.farads)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(farads/c.farads-1) > 0.03 { // half a step of the converter at both ends of 0.2 V
			t.Errorf("%s: %.3g µF, want %.3g", c.name, 1e6*farads, 1e6*c.farads)
		}
		plan, err := assay.NewPlan(typ, nil)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := s.PowerOn(t.Context(), 100); err != nil {
			t.Fatal(err)
		}
		probes, _ := thresholds.Probes(plan.Circuit, plan.Sequence.Steps, false)
		in, err := thresholds.Measure(t.Context(), s, typ, probes[0], farads)
		if err != nil {
			t.Fatal(err)
		}
		scale := 1.0
		if c.share {
			scale = in.SupplyVolts / 5
		}
		t.Logf("%s %s: %.3f ± %.3f and %.3f ± %.3f V", c.name, c.defect, in.Rising.Volts, in.Rising.Uncertainty, in.Falling.Volts, in.Falling.Uncertainty)
		for _, w := range []struct {
			want float64
			got  thresholds.Value
		}{{c.rising * scale, in.Rising}, {c.falls * scale, in.Falling}} {
			if off := math.Abs(w.got.Volts - w.want); off > w.got.Uncertainty+0.005 || off > 0.025 || w.got.Uncertainty > 0.035 {
				t.Errorf("%s %s: %+v, want %.3f V", c.name, c.defect, w.got, w.want)
			}
		}
	}
}
