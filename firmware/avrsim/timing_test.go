//go:build simavr

package avrsim

import (
	"context"
	"math"
	"testing"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/assay/timing"
	"chipassay/host/virtual"
)

// A monostable and an oscillator are timed by the AVR's own program: a good chip as the data sheet's factor
// has it, a bad one not.
func TestTimedWithACapacitor(t *testing.T) {
	for _, c := range []struct {
		part, defect string
		plan         timing.Plan
		verdict      assay.Verdict
		least, most  float64 // s
	}{
		{"74LS123", "", timing.Plan{Farads: 100e-9, Section: "1"}, assay.Pass, 430e-6, 475e-6},
		{"74LS123", "pulse of 1Q 3 times too long", timing.Plan{Farads: 100e-9, Section: "1"}, assay.Fail, 0, 0},
		// as short as the adapter can act in: retrigger and clear are tried
		{"74123", "", timing.Plan{Farads: 10e-9, Section: "1"}, assay.Pass, 26e-6, 36e-6},
		{"74123", "1Q not retriggered", timing.Plan{Farads: 10e-9, Section: "1"}, assay.Fail, 0, 0},
		{"74LS123", "", timing.Plan{Farads: 10e-9, Section: "1"}, assay.Pass, 40e-6, 50e-6},
		{"74LS123", "1Q not retriggered", timing.Plan{Farads: 10e-9, Section: "1"}, assay.Fail, 0, 0},
		{"74LS123", "pulse of 1Q not cleared", timing.Plan{Farads: 10e-9, Section: "1"}, assay.Fail, 0, 0},
		{"4047B", "", timing.Plan{Farads: 1e-9, Ohms: 10e3, Section: "astable"}, assay.Pass, 28e-6, 45e-6},
	} {
		p := open(t, c.part, defects(c.defect)...)
		typ := named(t, c.part)
		plan, err := assay.NewPlan(typ, nil)
		if err != nil {
			t.Fatal(err)
		}
		at := func(pin int) int { return adapter.PositionOf(pin, len(typ.Variant.Pins)) }
		c.plan.Clip = func(_ context.Context, clips timing.Clips) error {
			p.bench.Clip(virtual.Capacitor{Farads: clips.Farads, P: at(clips.Positive), Q: at(clips.Negative)})
			if clips.Resistor[0] != 0 {
				p.bench.ClipResistor(virtual.Resistor{Ohms: clips.Ohms, P: at(clips.Resistor[0]), Q: at(clips.Resistor[1])})
			}
			return nil
		}
		plan.Timing = &c.plan
		r := assay.Run(t.Context(), seat(t, p.Conn, typ.Variant), plan)
		t.Logf("%s %s: %s: %s", c.part, c.defect, r.Verdict, r.Reason)
		if r.Verdict != c.verdict || r.Timing == nil || len(r.Timing.Sections) == 0 {
			t.Errorf("%s %s: %s: %s", c.part, c.defect, r.Verdict, r.Reason)
			continue
		}
		s := r.Timing.Sections[0]
		if c.part == "74123" && c.defect == "" && (len(s.NotJudged) > 0 || len(s.Checks) != 27) {
			t.Errorf("%s: %d checks, not judged: %q", c.part, len(s.Checks), s.NotJudged)
		}
		if c.least > 0 && (s.Pulse.Seconds < c.least || s.Pulse.Seconds > c.most) {
			t.Errorf("%s: %v, want %g to %g s", c.part, s.Pulse, c.least, c.most)
		}
		if s.Measured && math.Abs(s.Farads/c.plan.Farads-1) > s.Tolerance {
			t.Errorf("%s: capacitor %g F ± %g", c.part, s.Farads, s.Tolerance)
		}
	}
}

func defects(text string) []string {
	if text == "" {
		return nil
	}
	return []string{text}
}
