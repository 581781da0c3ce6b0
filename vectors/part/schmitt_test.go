package part

import (
	"strings"
	"testing"
)

// Typical thresholds are inside their own limits, rising above falling by more than the hysteresis.
func TestSchmittLimits(t *testing.T) {
	check := func(name string, s schmittInput) {
		for what, c := range map[string]struct {
			b   Band
			typ float64
		}{"VT+": {s.Rising, s.rising}, "VT-": {s.Falling, s.falling}} {
			if c.b.Max != 0 && (c.b.Min >= c.b.Max || c.typ >= c.b.Max) || c.typ <= c.b.Min {
				t.Errorf("%s: %s of %v, typically %g V", name, what, c.b, c.typ)
			}
		}
		if s.rising-s.falling <= s.Hysteresis || s.Rising.Max-s.Falling.Min <= s.Hysteresis {
			t.Errorf("%s: hysteresis %g V", name, s.Hysteresis)
		}
	}
	for number, s := range schmittNumbers {
		check(number, s)
		if falling, rising, share := FamilyByName("74").SchmittTypical(number); falling != s.falling || rising != s.rising || share != s.share {
			t.Errorf("%s: typically %g and %g V", number, falling, rising)
		}
	}
	for name, s := range schmittTypes {
		check(name, s)
		if falling, rising, _ := FamilyByName("74HCT").SchmittTypical(strings.Replace(name, "HCT", "", 1)); falling != s.falling || rising != s.rising {
			t.Errorf("%s: typically %g and %g V", name, falling, rising)
		}
	}
	for name, s := range schmittFamilies {
		check(name, s)
		f := FamilyByName(name)
		if f == nil {
			t.Errorf("no family %s", name)
			continue
		}
		if falling, rising, share := f.SchmittTypical("7414"); falling != s.falling || rising != s.rising || share != s.share {
			t.Errorf("%s: typically %g and %g V", name, falling, rising)
		}
	}
	for _, f := range AllFamilies() {
		if falling, rising, _ := f.SchmittTypical("4040"); falling >= rising {
			t.Errorf("%s: typically %g and %g V", f.Name, falling, rising)
		}
	}
}

// A data sheet's row. Every maker's part must be allowed, and one that is 0.1 V past what all makers give not.
type schmittRow struct {
	sheet, number, family string
	supply                float64 // V
	up, down              Band    // V
	hysteresis            float64 // V, min
}

// Source: read, each in the data sheet that is named.
var schmittRows = []schmittRow{
	{"NTE7413", "7413", "74", 5, Band{1.5, 2.0}, Band{0.6, 1.1}, 0.4},
	{"NTE74132", "74132", "74", 5, Band{1.5, 2.0}, Band{0.6, 1.1}, 0.4},
	{"DM74LS14", "7414", "74LS", 5, Band{1.4, 1.9}, Band{0.5, 1.0}, 0.4},
	{"54LS14, National", "7414", "74LS", 5, Band{1.5, 2.0}, Band{0.6, 1.1}, 0.4},
	{"74F14, Philips", "7414", "74F", 5, Band{1.4, 2.0}, Band{0.7, 1.1}, 0.4},
	{"MC74F132", "74132", "74F", 5, Band{1.5, 2.0}, Band{0.7, 1.1}, 0.4},
	{"74HC132, NXP", "74132", "74HC", 4.5, Band{1.7, 3.15}, Band{0.9, 2.2}, 0.4},
	{"MC74HC14A, 25 °C", "7414", "74HC", 4.5, Band{2.3, 3.15}, Band{0.9, 2.0}, 0.4},
	{"74HC1G14, NXP", "7414", "74HC", 4.5, Band{1.7, 3.15}, Band{0.9, 2.0}, 0.4},
	{"CD74HCT14, 4.5 V and 5.5 V, between", "7414", "74HCT", 5, Band{1.3, 2.0}, Band{0.55, 1.3}, 0.4},
	{"SN74AC14, 4.5 V and 5.5 V, between", "7414", "74AC", 5, Band{1.55, 3.55}, Band{1.0, 2.05}, 0.45},
	{"CD74AC14", "7414", "74AC", 5, Band{2.6, 3.4}, Band{1.6, 2.4}, 0.5},
	{"SN74ACT14, 4.5 V and 5.5 V, between", "7414", "74ACT", 5, Band{1.3, 2.0}, Band{0.55, 1.3}, 0.4},
	{"CD40106BM, equivalent to MM74C14", "7414", "74C", 5, Band{3.0, 4.3}, Band{0.7, 2.0}, 1.0},
	{"CD40106BM", "40106", "4000B", 5, Band{3.0, 4.3}, Band{0.7, 2.0}, 1.0},
	{"MC14106B", "40106", "4000B", 5, Band{2.2, 3.6}, Band{0.9, 2.8}, 0.3},
	{"HEF40106B", "40106", "4000B", 5, Band{2.0, 3.5}, Band{1.5, 3.0}, 0.5},
	{"HEF4093B", "4093", "4000B", 5, Band{1.9, 3.5}, Band{1.5, 3.1}, 0.4},
	{"HCF4093B, one input", "4093", "4000B", 5, Band{2.2, 3.6}, Band{0.9, 2.8}, 0.3},
	{"CD4093BC, 25 °C", "4093", "4000B", 5, Band{2.75, 3.5}, Band{1.5, 2.25}, 0.5},
	{"DS8838", "8838", "74", 5, Band{1.80, 2.50}, Band{1.05, 1.55}, 0},
	{"MC1489", "1489", "DTL", 5, Band{1.0, 1.5}, Band{0.75, 1.25}, 0},
	{"MC1489A", "1489", "DTL", 5, Band{1.75, 2.25}, Band{0.75, 1.25}, 0},
}

func TestSchmittLimitsOfDataSheets(t *testing.T) {
	const rounding = 0.011 // V: limits at 4.5 V are in proportion to those at 5 V, in hundredths
	type key struct {
		number, family string
		supply         float64
	}
	widest := map[key]SchmittLimits{}
	for _, row := range schmittRows {
		typ := Type{Variant: &Variant{Part: &Part{Number: row.number, Kind: "schmitt"}}, Family: FamilyByName(row.family)}
		l, known := typ.Schmitt(row.supply)
		if !known || l.Rising.Min > row.up.Min+rounding || l.Rising.Max < row.up.Max-rounding ||
			l.Falling.Min > row.down.Min+rounding || l.Falling.Max < row.down.Max-rounding || l.Hysteresis > row.hysteresis+rounding {
			t.Errorf("%s: refused by %+v", row.sheet, l)
		}
		k := key{row.number, row.family, row.supply}
		if _, own := schmittNumbers[row.number]; !own {
			k.number = "7414"
		}
		w, ok := widest[k]
		if !ok {
			w = SchmittLimits{row.up, row.down, row.hysteresis}
		}
		widest[k] = SchmittLimits{
			Band{min(w.Rising.Min, row.up.Min), max(w.Rising.Max, row.up.Max)},
			Band{min(w.Falling.Min, row.down.Min), max(w.Falling.Max, row.down.Max)}, min(w.Hysteresis, row.hysteresis),
		}
	}
	for k, w := range widest {
		typ := Type{Variant: &Variant{Part: &Part{Number: k.number, Kind: "schmitt"}}, Family: FamilyByName(k.family)}
		l, _ := typ.Schmitt(k.supply)
		for what, beyond := range map[string]float64{
			"VT+ min": w.Rising.Min - l.Rising.Min, "VT+ max": l.Rising.Max - w.Rising.Max,
			"VT- min": w.Falling.Min - l.Falling.Min, "VT- max": l.Falling.Max - w.Falling.Max,
		} {
			if beyond > 0.1 {
				t.Errorf("%+v: %s is %g V beyond what the widest data sheet gives", k, what, beyond)
			}
		}
		if w.Hysteresis-l.Hysteresis > 0.011 {
			t.Errorf("%+v: hysteresis %g V, the least of a data sheet is %g", k, l.Hysteresis, w.Hysteresis)
		}
	}
}

// The octal buffers have limits of their own, which are not all given: Philips, December 1990, page 6, at 4.5 V and
// 5.5 V (read), between.
func TestSchmittLimitsOfOneFamily(t *testing.T) {
	v := &Variant{Part: &Part{Number: "747541", Kind: "buffer"}}
	l, known := Type{v, FamilyByName("74HCT")}.Schmitt(5)
	if !known || l != (SchmittLimits{Band{0, 2.05}, Band{0.75, 0}, 0.17}) {
		t.Errorf("%+v", l)
	}
	if l, known := (Type{v, FamilyByName("74HC")}).Schmitt(5); known {
		t.Errorf("74HC7541 has the limits %+v", l)
	}
}

// A counter's clock, a buffer's input and the precision Schmitt trigger have no limits here.
func TestSchmittLimitsThatAreNotKnown(t *testing.T) {
	for _, c := range [][3]string{{"4040", "counter", "4000B"}, {"747240", "buffer", "74HC"}, {"747014", "schmitt", "74HC"}, {"7414", "schmitt", "74L"}} {
		typ := Type{Variant: &Variant{Part: &Part{Number: c[0], Kind: c[1]}}, Family: FamilyByName(c[2])}
		if l, known := typ.Schmitt(5); known {
			t.Errorf("%s has the limits %+v", c[0], l)
		}
	}
}
