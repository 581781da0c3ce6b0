package part

import "testing"

// Typical thresholds are inside their own limits, rising above falling by more than the hysteresis; what a
// family's Schmitt trigger surely reads as low and high is what its other inputs do or a wider band.
func TestSchmittLimits(t *testing.T) {
	for name, s := range schmittFamilies {
		f := FamilyByName(name)
		if f == nil {
			t.Errorf("no family %s", name)
			continue
		}
		for what, c := range map[string]struct {
			b   Band
			typ float64
		}{"VT+": {s.Rising, s.rising}, "VT-": {s.Falling, s.falling}} {
			if c.b.Min >= c.b.Max || c.typ <= c.b.Min || c.typ >= c.b.Max {
				t.Errorf("%s: %s of %v, typically %g V", name, what, c.b, c.typ)
			}
		}
		if s.rising-s.falling <= s.Hysteresis || s.Rising.Max-s.Falling.Min <= s.Hysteresis {
			t.Errorf("%s: hysteresis %g V", name, s.Hysteresis)
		}
		if falling, rising, _ := f.SchmittTypical(); falling != s.falling || rising != s.rising {
			t.Errorf("%s: typically %g and %g V", name, falling, rising)
		}
	}
	for _, f := range AllFamilies() {
		if falling, rising, _ := f.SchmittTypical(); falling >= rising {
			t.Errorf("%s: typically %g and %g V", f.Name, falling, rising)
		}
	}
}

// The rows of the data sheets: MC74HC14A at 4.5 V, CD74HCT14 at 4.5 and 5.5 V, HEF40106B at 5 V, 74F14. Source: read.
// What the widest maker gives is allowed, and nothing that none does.
func TestSchmittLimitsOfDataSheets(t *testing.T) {
	for _, c := range []struct {
		family                string
		supply                float64
		upMin, upMax          float64
		downMin, downMax      float64
		hysteresis, tolerance float64
	}{
		{"74HC", 4.5, 1.7, 3.15, 0.9, 2.2, 0.40, 0.01}, // the second maker's VT+ min and VT- max
		{"74HCT", 5, 1.3, 2.0, 0.55, 1.3, 0.4, 0.001},
		{"74F", 5, 1.4, 2.0, 0.7, 1.1, 0.4, 0.001},
	} {
		typ := Type{Variant: &Variant{Part: &Part{Number: "7414", Kind: "schmitt"}}, Family: FamilyByName(c.family)}
		l, known := typ.Schmitt(c.supply)
		got := [5]float64{l.Rising.Min, l.Rising.Max, l.Falling.Min, l.Falling.Max, l.Hysteresis}
		for i, want := range [5]float64{c.upMin, c.upMax, c.downMin, c.downMax, c.hysteresis} {
			if d := got[i] - want; !known || d > c.tolerance || d < -c.tolerance {
				t.Errorf("%s at %g V: %v", c.family, c.supply, l)
				break
			}
		}
	}
	counter := Type{Variant: &Variant{Part: &Part{Number: "4040", Kind: "counter"}}, Family: FamilyByName("4000B")}
	if _, known := counter.Schmitt(5); known {
		t.Error("a counter's clock has the limits of a Schmitt trigger")
	}
}
