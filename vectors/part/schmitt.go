package part

// A Band is between which limits a voltage is, V.
type Band struct{ Min, Max float64 }

// SchmittLimits are those of a Schmitt-trigger input: its thresholds as it rises and as it
// falls, and the least difference of the two; 0 where there is none.
type SchmittLimits struct {
	Rising, Falling Band
	Hysteresis      float64 // V, min
}

// A schmittInput is a Schmitt-trigger input at a 5 V supply.
type schmittInput struct {
	SchmittLimits
	rising, falling float64 // V, typical
	share           bool    // all of them are in proportion to the supply
}

// schmittFamilies are by family, over the makers where these differ.
//
// Read in data sheets:
//   - 74: NTE7413 and NTE74132 (the 7414's limits are the same, from memory; a table of the 7414 has its typical 1.7, 0.9 and
//     0.8 V)
//   - 74LS: DM74LS14, Fairchild; the 54LS14's limits, which a marking of the one type may mean, are 0.1 V higher: 54LS14/DM74LS14, National
//   - 74F: 74F14, Philips, November 1990; MC74F132, Motorola, within it
//   - 74HC: 74HC132, NXP, rev. 3, at 4.5 V: VT+ 1.7 to 3.15, VT- 0.9 to 2.2, VH 0.4 V; MC74HC14A, ON Semiconductor,
//     and 74HC1G14, NXP, within them; to 5 V in proportion
//   - 74HCT: CD74HCT14, Texas Instruments, and 74HCT132, NXP, between 4.5 and 5.5 V
//   - 74AC: SN74AC14 (SCAS522I), between 4.5 and 5.5 V: VT+ 1.55 to 3.55, VT- 1.0 to 2.05, VH 0.45; CD74AC14 (SCHS228D), at
//     5 V: VT- up to 2.4; 74AC14, Fairchild, rev. 1.7.2, within them
//   - 74ACT: SN74ACT14 (SCAS557H), between 4.5 and 5.5 V
//   - 74C: CD40106BM, National, February 1988, which it calls equivalent to its MM74C14; MM74C914 agrees
//   - 4000B: see schmittNumbers; all of them
//
// From memory of the data books: 74S132.
var schmittFamilies = map[string]schmittInput{
	//                        VT+            VT-         hysteresis  typical
	"74":    {SchmittLimits{Band{1.5, 2.0}, Band{0.6, 1.1}, 0.4}, 1.7, 0.9, false},
	"74LS":  {SchmittLimits{Band{1.4, 2.0}, Band{0.5, 1.1}, 0.4}, 1.6, 0.8, false},
	"74S":   {SchmittLimits{Band{1.6, 1.9}, Band{1.1, 1.4}, 0.2}, 1.77, 1.22, false},
	"74F":   {SchmittLimits{Band{1.4, 2.0}, Band{0.7, 1.1}, 0.4}, 1.7, 0.9, false},
	"74HC":  {SchmittLimits{Band{1.89, 3.5}, Band{1.0, 2.44}, 0.44}, 2.6, 1.6, true},
	"74HCT": {SchmittLimits{Band{1.3, 2.0}, Band{0.55, 1.3}, 0.4}, 1.6, 0.9, true},
	"74AC":  {SchmittLimits{Band{1.55, 3.55}, Band{1.0, 2.4}, 0.45}, 2.9, 1.6, true},
	"74ACT": {SchmittLimits{Band{1.3, 2.0}, Band{0.55, 1.3}, 0.4}, 1.6, 0.95, true},
	"74C":   {SchmittLimits{Band{3.0, 4.3}, Band{0.7, 2.0}, 1.0}, 3.6, 1.4, true},
	"4000B": {SchmittLimits{Band{1.8, 4.3}, Band{0.7, 3.3}, 0.25}, 3.0, 2.2, true},
}

// schmittNumbers are those of parts with thresholds of their own, whatever their family.
//
// Read in data sheets:
//   - 4093: HCF4093B, ST, one input driven: 2.2 to 3.6, 0.9 to 2.8, 0.3 V (its maker's CD4093B has these too, from memory);
//     HEF4093B, Philips, January 1995: 1.9 to 3.5, 1.5 to 3.1, 0.4 V; CD4093BC, Fairchild: 2.75 to 3.6, 1.3 to 2.25, 0.5 V
//   - 40106: HEF40106B, Philips, January 1995: 2.0 to 3.5, 1.5 to 3.0, 0.5 V; CD40106BM, National: 3.0 to 4.3, 0.7 to 2.0,
//     1.0 V; MC14106B, ON Semiconductor, page 3: 2.2 to 3.6, 0.9 to 2.8, 0.3 V
//   - 8838: DS8838, National, May 1999: 1.80 to 2.50 and 1.05 to 1.55 V
//   - 1489: MC1489 and MC1489A, ON Semiconductor: on at 1.0 to 1.5 or 1.75 to 2.25, off at 0.75 to 1.25 V; a marking of 1489 may
//     be either
//
// From memory: 4584, MC14584B, which has the least hysteresis, of 0.27 V; 7418, 7419 and 7424, SN74LS18, SN74LS19 and SN74LS24.
var schmittNumbers = map[string]schmittInput{
	"4093":  {SchmittLimits{Band{1.9, 3.6}, Band{0.9, 3.1}, 0.3}, 2.9, 2.0, true},
	"40106": {SchmittLimits{Band{2.0, 4.3}, Band{0.7, 3.0}, 0.3}, 3.0, 2.2, true},
	"4584":  {SchmittLimits{Band{1.8, 4.3}, Band{0.7, 3.3}, 0.25}, 2.7, 2.1, true},
	"8838":  {SchmittLimits{Band{1.80, 2.50}, Band{1.05, 1.55}, 0}, 2.25, 1.30, false},
	"1489":  {SchmittLimits{Band{1.0, 2.25}, Band{0.75, 1.25}, 0}, 1.25, 1.0, false},
	"7418":  {SchmittLimits{Band{1.65, 2.15}, Band{0.75, 1.25}, 0.4}, 1.9, 1.0, false},
	"7419":  {SchmittLimits{Band{1.65, 2.15}, Band{0.75, 1.25}, 0.4}, 1.9, 1.0, false},
	"7424":  {SchmittLimits{Band{1.65, 2.15}, Band{0.75, 1.25}, 0.4}, 1.9, 1.0, false},
}

// schmittTypes are those of one family of a part, with thresholds that no other of them has. A band's end of 0 is none.
//
// Read: 74HCT7541, Philips, December 1990, page 6: VT+ at most 2.0 V at 4.5 V and 2.1 at 5.5 V, VT- at least 0.70 and 0.80 V,
// hysteresis at least 0.17 V. The 74HCT7540 "is identical" to the 74HCT540 "but has hysteresis", as that is to the 541 (its page 1):
// the same limits, from memory.
var schmittTypes = map[string]schmittInput{
	"74HCT7541": {SchmittLimits{Band{0, 2.05}, Band{0.75, 0}, 0.17}, 1.5, 1.2, true},
	"74HCT7540": {SchmittLimits{Band{0, 2.05}, Band{0.75, 0}, 0.17}, 1.5, 1.2, true},
}

// precision are those whose data sheet is narrower than the family's, and is not at hand.
const precision = "747014"

// Schmitt gives the limits of a part's Schmitt-trigger inputs at a supply, V; known is false where
// there is no data sheet for them, as for the clocks of counters.
func (t Type) Schmitt(supply float64) (l SchmittLimits, known bool) {
	number := t.Part().Number
	in, known := schmittTypes[t.Name()]
	if !known {
		in, known = schmittNumbers[number]
	}
	if !known {
		in, known = schmittFamilies[t.Family.Name]
		known = known && t.Part().Kind == "schmitt" && number != precision
	}
	if !known {
		return SchmittLimits{}, false
	}
	scale := 1.0
	if in.share {
		scale = supply / 5
	}
	band := func(b Band) Band { return Band{scale * b.Min, scale * b.Max} }
	return SchmittLimits{band(in.Rising), band(in.Falling), scale * in.Hysteresis}, true
}

// SchmittTypical gives the typical thresholds of a part's Schmitt-trigger inputs in a family at 5 V, V, and
// whether they are in proportion to the supply; those of the family where the part has none of its own,
// and of its levels where none are known.
func (f *Family) SchmittTypical(number string) (falling, rising float64, share bool) {
	in, ok := schmittTypes[f.TypeName(number)]
	if !ok {
		in, ok = schmittNumbers[number]
	}
	if !ok {
		in, ok = schmittFamilies[f.Name]
	}
	switch {
	case ok:
		return in.falling, in.rising, in.share
	case f.Technology.Bipolar():
		return 0.9, 1.7, false
	}
	return f.VIL, f.VIH, f.Technology == CMOS
}
