package part

import "slices"

// A Band is between which limits a voltage is, V.
type Band struct{ Min, Max float64 }

// SchmittLimits are those of a Schmitt-trigger input: its thresholds as it rises and as it
// falls, and the least difference of the two.
type SchmittLimits struct {
	Rising, Falling Band
	Hysteresis      float64 // V, min
}

// A schmittFamily is the Schmitt-trigger input of a family, at a 5 V supply.
type schmittFamily struct {
	SchmittLimits
	rising, falling float64 // V, typical
	share           bool    // all of them are in proportion to the supply
}

// schmittFamilies are by family, over the makers where these differ.
//
// Source: 74F14 (Philips, November 1990), read; 74HC: MC74HC14A at 4.5 V, read, and CD74HC14
// for the lower VT+ and the higher VT-, from memory, to 5 V in proportion; 74HCT: CD74HCT14 at 4.5 and 5.5 V, read,
// between them; 4000B: HEF40106B at 5 V, read, and CD40106B and CD4093B, from memory; typical 7414: 1.7 and 0.9 V,
// read in a tutorial; 7414, 7413, 74132, 74LS14, 74LS13, 74LS132, 74S132 and MM74C14 from memory of the data books.
var schmittFamilies = map[string]schmittFamily{
	//                        VT+            VT-         hysteresis  typical
	"74":    {SchmittLimits{Band{1.5, 2.0}, Band{0.6, 1.1}, 0.4}, 1.7, 0.9, false},
	"74LS":  {SchmittLimits{Band{1.4, 1.9}, Band{0.5, 1.0}, 0.4}, 1.6, 0.8, false},
	"74S":   {SchmittLimits{Band{1.6, 1.9}, Band{1.1, 1.4}, 0.2}, 1.77, 1.22, false},
	"74F":   {SchmittLimits{Band{1.4, 2.0}, Band{0.7, 1.1}, 0.4}, 1.7, 0.9, false},
	"74HC":  {SchmittLimits{Band{1.89, 3.5}, Band{1.0, 2.44}, 0.44}, 2.6, 1.6, true},
	"74HCT": {SchmittLimits{Band{1.3, 2.0}, Band{0.55, 1.3}, 0.4}, 1.6, 0.9, true},
	"74C":   {SchmittLimits{Band{3.0, 4.3}, Band{0.7, 2.0}, 1.0}, 3.6, 1.4, true},
	"4000B": {SchmittLimits{Band{2.0, 4.3}, Band{0.7, 3.0}, 0.3}, 3.0, 2.2, true},
}

// otherSchmitt are Schmitt triggers with thresholds of their own, which are not in the table.
var otherSchmitt = []string{"7418", "7419", "7424", "74914", "747014"}

// Schmitt gives the limits of a part's Schmitt-trigger inputs at a supply, V; known is false where
// there is no data sheet for them, as for the clocks of counters.
func (t Type) Schmitt(supply float64) (l SchmittLimits, known bool) {
	f, known := schmittFamilies[t.Family.Name]
	if !known || t.Part().Kind != "schmitt" || slices.Contains(otherSchmitt, t.Part().Number) {
		return SchmittLimits{}, false
	}
	scale := 1.0
	if f.share {
		scale = supply / 5
	}
	band := func(b Band) Band { return Band{scale * b.Min, scale * b.Max} }
	return SchmittLimits{band(f.Rising), band(f.Falling), scale * f.Hysteresis}, true
}

// SchmittTypical gives the typical thresholds of a family's Schmitt-trigger inputs at 5 V, V, and
// whether they are in proportion to the supply; those of its levels where none are known.
func (f *Family) SchmittTypical() (falling, rising float64, share bool) {
	if s, ok := schmittFamilies[f.Name]; ok {
		return s.falling, s.rising, s.share
	}
	if f.Technology.Bipolar() {
		return 0.9, 1.7, false
	}
	return f.VIL, f.VIH, f.Technology == CMOS
}
