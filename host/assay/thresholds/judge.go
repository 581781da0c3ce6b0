package thresholds

import (
	"fmt"

	"chipassay/host/assay/levels"
	"chipassay/vectors/part"
)

// A Judgement is one measured voltage against its limits.
type Judgement struct {
	Symbol   string // VT+ VT- VH, or VT for the switching point of an ordinary input
	Title    string
	Value    Value
	Min, Max float64 // V; 0 where there is none
	Standing levels.Standing
	Words    string
}

// Judge judges an input: a Schmitt trigger's two thresholds and its hysteresis by its data sheet;
// another input's switching point by VIL and VIH, between which it must be.
func (in Input) Judge(f *part.Family) (all []Judgement) {
	if in.Schmitt {
		var l part.SchmittLimits
		if in.Limited {
			l = in.Limits
		}
		return []Judgement{
			judged("VT+", "threshold as the input rises", in.Rising, l.Rising, ""),
			judged("VT-", "threshold as the input falls", in.Falling, l.Falling, ""),
			judged("VH", "hysteresis", in.Hysteresis(), part.Band{Min: l.Hysteresis}, ""),
		}
	}
	band := part.Band{Min: f.VIL, Max: f.VIH}
	if f.Technology == part.CMOS {
		band.Min, band.Max = band.Min*in.SupplyVolts/5, band.Max*in.SupplyVolts/5
	}
	point := Value{(in.Rising.Volts + in.Falling.Volts) / 2, (in.Rising.Uncertainty + in.Falling.Uncertainty) / 2}
	return []Judgement{judged("VT", "switching point", point, band, in.like(point.Volts, f))}
}

// judged compares a value with a band, of which an end that is 0 is none.
func judged(symbol, title string, v Value, b part.Band, note string) Judgement {
	j := Judgement{Symbol: symbol, Title: title, Value: v, Min: b.Min, Max: b.Max, Standing: levels.Inside}
	j.Words = fmt.Sprintf("%s %.2f ± %.2f V", symbol, v.Volts, v.Uncertainty)
	worse := func(inside float64) {
		switch {
		case inside < -v.Uncertainty:
			j.Standing = levels.Outside
		case inside < v.Uncertainty && j.Standing == levels.Inside:
			j.Standing = levels.Near
		}
	}
	if b.Min != 0 {
		worse(v.Volts - b.Min)
		j.Words += fmt.Sprintf(", at least %.2f V", b.Min)
	}
	if b.Max != 0 {
		worse(b.Max - v.Volts)
		j.Words += fmt.Sprintf(", at most %.2f V", b.Max)
	}
	if b == (part.Band{}) {
		j.Standing = levels.Unlimited
	}
	if j.Standing == levels.Outside && note != "" {
		j.Words += ": " + note
	}
	return j
}

// Where inputs of two kinds switch, V, and as a share of the supply: two junctions, less a Schottky
// diode and more over the spread, or half the supply. From memory of the data books' transfer curves.
const (
	leastTTL, mostTTL   = 0.9, 1.7
	leastCMOS, mostCMOS = 0.4, 0.6
)

// like says which other inputs switch at a voltage; empty where none of another kind does.
func (in Input) like(volts float64, f *part.Family) string {
	share := volts / in.SupplyVolts
	switch {
	case f.Technology == part.CMOS && volts > leastTTL && volts < mostTTL:
		return "as inputs with TTL levels switch, another family than marked, or an input that has drifted"
	case f.Technology != part.CMOS && share > leastCMOS && share < mostCMOS:
		return "at half the supply, as CMOS inputs switch, another family than marked, or an input that has drifted"
	}
	return "an input that has drifted"
}
