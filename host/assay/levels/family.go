package levels

import (
	"fmt"
	"math"
	"slices"

	"chipassay/vectors/part"
)

// iilRange is what the inputs of a family draw per unit load when they are low,
// mA, from a weak chip to the limit. From memory of the data books' typical
// values and limits; MOS inputs draw nothing.
var iilRange = map[string][2]float64{
	"74": {0.55, 1.6}, "74H": {0.7, 2.0}, "74L": {0.05, 0.18}, "74S": {0.7, 2.0},
	"74LS": {0.12, 0.4}, "74ALS": {0.01, 0.16}, "74AS": {0.02, 0.55}, "74F": {0.2, 0.6},
	"74HC": {0, 0.02}, "74HCT": {0, 0.02}, "74C": {0, 0.02}, "4000A": {0, 0.02}, "4000B": {0, 0.02}, "4000UB": {0, 0.02}, "DTL": {0.7, 1.6}, "DARLINGTON": {0, 0.05},
	"TIMER": {0.02, 1.5},
	"74AC":  {0, 0.02}, "74ACT": {0, 0.02}, "74BCT": {0.02, 1.0},
}

// strongVOL, V, is what the low of a 74HC output stays below at 4 to 5 mA; a
// 4000B output, rated at a tenth of that, rises well above it.
const strongVOL = 0.8

// drawAllowance, mA, is the converter's two steps across 1 kΩ, and half as much again.
const drawAllowance = 0.015

// familyCheck says what the measured inputs and outputs have against the family
// that the marking claims; empty where they fit, or where too little was measured.
func familyCheck(t part.Type, readings []Reading) string {
	if slices.ContainsFunc(t.Variant.Pins, func(p part.Pin) bool { return p.Trip != 0 }) {
		return "" // a comparator's input is no family's
	}
	var draw, open []float64
	for _, r := range readings {
		switch r.Quantity {
		case IIL:
			load := t.Variant.Pins[r.Pin-1].LoadIn(t.Family)
			if math.IsNaN(r.Limit) || load < 0.25 { // a PNP input says nothing of the family
				continue
			}
			draw = append(draw, r.Value/load)
		case Open:
			open = append(open, r.Value)
		}
	}
	if len(draw) == 0 {
		return ""
	}
	iil := median(draw)
	if span := iilRange[t.Family.Name]; iil < span[0]-drawAllowance-driveAllowance(t.Family) || iil > span[1]+drawAllowance {
		text := fmt.Sprintf("the inputs draw %.2f mA each when low: that is %s, not %s", iil, drawnBy(iil), t.Family.Title)
		if len(open) > 0 {
			text += fmt.Sprintf("; open they float at %.1f V", median(open))
		}
		return text + ": another family than marked, or re-marked"
	}
	return strength(t, readings)
}

// driveAllowance, mA, is what two steps of the converter are across the drive resistance.
func driveAllowance(f *part.Family) float64 {
	if f.Technology == part.TTL {
		return ConverterVolts / driveOhms * 1000
	}
	return 0
}

// strength distinguishes the strong CMOS families from the weak by their loaded lows.
func strength(t part.Type, readings []Reading) string {
	if t.Family.Technology.Bipolar() {
		return ""
	}
	var lows []float64
	for _, r := range readings {
		if r.Quantity == VOL && r.LoadMA > 2 {
			lows = append(lows, r.Value)
		}
	}
	if strong := t.Family.Output[part.StandardDrive].IOL > 2; strong && len(lows) > 0 && median(lows) > strongVOL {
		return fmt.Sprintf("under load the outputs rise to %.1f V, weak like 4000B, not %s: another family than marked, or re-marked",
			median(lows), t.Family.Title)
	}
	return ""
}

// Draws reports whether inputs that draw a current when they are low, mA for each unit load, are
// those of a family, from a weak chip to the limit of the data sheet.
func Draws(f *part.Family, mA float64) bool {
	span, known := iilRange[f.Name]
	return !known || mA >= span[0]-drawAllowance && mA <= span[1]+drawAllowance
}

// drawnBy names the kind of input that draws a current, mA, for one unit load.
func drawnBy(mA float64) string {
	switch {
	case mA < 0.02:
		return "CMOS"
	case mA < 0.12:
		return "low-power or advanced low-power Schottky TTL"
	case mA < 0.5:
		return "low-power Schottky TTL"
	}
	return "standard TTL or faster"
}

func median(values []float64) float64 {
	sorted := slices.Sorted(slices.Values(values))
	if len(sorted) == 0 {
		return math.NaN()
	}
	return sorted[len(sorted)/2]
}
