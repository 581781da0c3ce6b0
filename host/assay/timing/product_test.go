package timing

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"chipassay/host/adapter"
)

// A drained is a capacitor and a resistor at the pins of a 4047 (RC is pin 3, C pin 1, R pin 2), and the arithmetic of charge and drain
// alone: 5 V through 10 kΩ for what lies between the release of the pin and the next action, and e^(-t/RC) after.
type drained struct {
	fakeChip
	farads, ohms float64 // 0: not there
	old          bool
}

func (d *drained) Can() adapter.Abilities { return adapter.Abilities{Measure: ^(^0 << 29)} }

func (d *drained) ProbeWatch(_ context.Context, w adapter.Watch) (adapter.Watched, error) {
	got := adapter.Watched{Within: time.Microsecond}
	if d.old {
		got.Within = 0
	}
	volts := 0.07
	rc := adapter.PositionOf(3, 14)
	far := adapter.PositionOf(2, 14)
	for i, a := range w.Actions {
		got.Acted = append(got.Acted, a.At)
		if i == 0 {
			continue
		}
		if i == 1 && !a.Bias.On { // half a µs from the release to the bias's end
			volts = 5 - (5-volts)*math.Exp(-0.5e-6/10e3/d.capacity())
		}
		if a.Step.Driven.Has(rc) {
			volts = 0
		}
		if i+1 < len(w.Actions) && a.Step.Driven.Has(far) && d.ohms > 0 {
			volts *= math.Exp(-(w.Actions[i+1].At - a.At).Seconds() / d.ohms / d.capacity())
		}
	}
	got.Volts = min(volts, 0.6)
	return got, nil
}

// capacity is what is at the pin, F: that of the pin alone without a capacitor.
func (d *drained) capacity() float64 { return d.farads + 40e-12 }

func TestProductOfResistorAndCapacitor(t *testing.T) {
	typ := opened(t, "4047B")
	x := &typ.Variant.Timings[1]
	for _, c := range []struct {
		name string
		is   drained
		says string // empty: it is measured
	}{
		{"as marked", drained{farads: 1e-9, ohms: 100e3}, ""},
		{"within", drained{farads: 1.5e-9, ohms: 100e3}, ""},
		{"no capacitor", drained{ohms: 100e3}, "there is no capacitor of 1 nF between pin 1 (C) and pin 3 (RC)"},
		{"no resistor", drained{farads: 1e-9}, "there is no resistor of 100 kΩ between pin 2 (R) and pin 3 (RC)"},
		{"another resistor", drained{farads: 1e-9, ohms: 10e3}, "have R C of "},
		{"another capacitor", drained{farads: 2.2e-9, ohms: 100e3}, "have R C of 2"},
		{"far more", drained{farads: 100e-9, ohms: 100e3}, "far more than 1 nF, or shorted"},
	} {
		seconds, within, err := MeasureProduct(t.Context(), &c.is, typ.Variant, x, Plan{Farads: 1e-9, Ohms: 100e3})
		var clip *ClipError
		if (c.says == "") != (err == nil) || err != nil && (!errors.As(err, &clip) || !strings.Contains(err.Error(), c.says)) {
			t.Errorf("%s: %v", c.name, err)
		}
		if want := c.is.ohms * c.is.capacity(); c.says == "" && (math.Abs(seconds/want-1) > within || within > 0.11) {
			t.Errorf("%s: %g s within %g, is %g", c.name, seconds, within, want)
		}
	}
	if seconds, _, err := MeasureProduct(t.Context(), &drained{farads: 1e-9, ohms: 10e3, old: true}, typ.Variant, x, Plan{Farads: 1e-9, Ohms: 100e3}); seconds != 0 || err != nil {
		t.Errorf("older firmware: %g s, %v", seconds, err)
	}
	// a 4046's capacitor and resistor have no pin in common, and half a nF is too little
	other := opened(t, "4046B")
	if seconds, _, err := MeasureProduct(t.Context(), &drained{}, other.Variant, &other.Variant.Timings[0], Plan{Farads: 1e-9, Ohms: 100e3}); seconds != 0 || err != nil {
		t.Errorf("4046: %g s, %v", seconds, err)
	}
	if seconds, _, err := MeasureProduct(t.Context(), &drained{}, typ.Variant, x, Plan{Farads: 470e-12, Ohms: 100e3}); seconds != 0 || err != nil {
		t.Errorf("470 pF: %g s, %v", seconds, err)
	}
}
