package assay

import (
	"cmp"
	"math"
	"slices"

	"chipassay/vectors/fault"
	"chipassay/vectors/part"
)

// Priors, as shares of the chips that fail a test as what they are marked or typed as.
// Common practice of benches that sort old stock: most are misread, mistyped or put in
// the wrong bag; then come dirt and bonds; then dead transistors at pins. They decide
// between causes of equal explanatory power only, so a factor of two in them is of no matter.
const (
	mixedUp  = 0.40 // or typed, or read, wrongly; and re-marked, which is rarer
	dirt     = 0.20 // or a bond that is open
	deadPin  = 0.25 // a transistor at a pin
	shortPin = 0.05

	ofOneDrawer = 0.8 // of the mix-ups: parts of one family and package are kept together
	// The rest is inside the chip, or two faults: another part that explains all is likelier.
)

// likelier reports whether another part is the likelier cause than faults of pins that
// explain all that was observed, by their priors, each over all the places where it may be,
// and by what they leave open.
func (a *another) likelier(t part.Type, numbers []string, causes []fault.Cause) bool {
	prior := 0.0
	for _, c := range causes {
		prior += priorOf(c.Faults[0].Kind) / float64(len(t.Variant.Pins))
	}
	near, far, share := 0, 0, 0.0
	for _, c := range a.candidates {
		if v := c.Variant; len(v.Pins) != len(t.Variant.Pins) || v.VCC() != t.Variant.VCC() || v.GND() != t.Variant.GND() {
			continue
		}
		if distance(t, c.Variant) == 0 {
			near++
		} else {
			far++
		}
	}
	for _, c := range a.candidates {
		switch {
		case typed(t, c.Variant) || c.Variant != a.sibling && !slices.Contains(numbers, c.Variant.Part.Number):
		case distance(t, c.Variant) == 0:
			share += ofOneDrawer / float64(max(near, 1))
		default:
			share += (1 - ofOneDrawer) / float64(max(far, 1))
		}
	}
	unexplained := 0.0 // bits that the part leaves open, beyond what the faults do
	if len(a.group) > 0 && len(causes) > 0 {
		unexplained = max(0, a.group[0].Bits-float64(causes[0].Unknown))
	}
	return mixedUp*share*math.Exp2(-unexplained) > prior
}

// priorOf is the share of a kind of fault, for all pins together.
func priorOf(k fault.Kind) float64 {
	switch k {
	case fault.Open:
		return dirt
	case fault.Short: // of neighbours, as a rule
		return shortPin
	}
	return deadPin / 2 // it is dead one way or the other
}

// byPrior orders causes of equal explanatory power by their priors, the likeliest first.
func byPrior(causes []fault.Cause) {
	slices.SortStableFunc(causes, func(a, b fault.Cause) int {
		return cmp.Or(cmp.Compare(len(a.Faults), len(b.Faults)), cmp.Compare(a.Unknown, b.Unknown),
			cmp.Compare(priorOf(b.Faults[0].Kind), priorOf(a.Faults[0].Kind)))
	})
}
