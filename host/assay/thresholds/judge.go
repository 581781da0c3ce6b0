package thresholds

import (
	"fmt"
	"slices"

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
	Other    bool // it switches as inputs of another kind do, and not as its own
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
		if in.Only != OnlyFalling {
			all = append(all, judged("VT+", "threshold as the input rises", in.Rising, l.Rising))
		}
		if in.Only != OnlyRising {
			all = append(all, judged("VT-", "threshold as the input falls", in.Falling, l.Falling))
		}
		if in.Only != Both {
			return all
		}
		return append(all, in.judgeHysteresis(l))
	}
	band := part.Band{Min: f.VIL, Max: f.VIH}
	if f.Technology == part.CMOS {
		band.Min, band.Max = band.Min*in.SupplyVolts/5, band.Max*in.SupplyVolts/5
	}
	point := in.Point()
	j := judged("VT", "switching point", point, band)
	j.Other = in.otherKind(f)
	return []Judgement{j}
}

// judgeHysteresis judges the difference of the two thresholds, which is at least what their own limits leave. Where
// there are none a Schmitt trigger still has some.
func (in Input) judgeHysteresis(l part.SchmittLimits) Judgement {
	least := l.Hysteresis
	if in.Limited {
		least = max(least, l.Rising.Min-l.Falling.Max)
	}
	j := judged("VH", "hysteresis", in.Hysteresis(), part.Band{Min: max(0, least)})
	if j.Min == 0 && j.Value.Volts < j.Value.Uncertainty {
		j.Standing = levels.Outside
	}
	if j.NoHysteresis() {
		j.Words = fmt.Sprintf("too little hysteresis: it switches at %.2f V as it rises and at %.2f V as it falls", in.Rising.Volts, in.Falling.Volts)
		if j.Min != 0 {
			j.Words += fmt.Sprintf(", which must be %.2f V apart", j.Min)
		}
	}
	return j
}

// Point is where an ordinary input switches: the mean of both ways, or the one that there is.
func (in Input) Point() Value {
	switch in.Only {
	case OnlyRising:
		return in.Rising
	case OnlyFalling:
		return in.Falling
	}
	return Value{(in.Rising.Volts + in.Falling.Volts) / 2, (in.Rising.Uncertainty + in.Falling.Uncertainty) / 2}
}

// NoHysteresis reports whether a Schmitt trigger has lost its hysteresis.
func (j Judgement) NoHysteresis() bool { return j.Symbol == "VH" && j.Standing == levels.Outside }

// Lost reports whether a Schmitt trigger has lost its hysteresis.
func (in Input) Lost(f *part.Family) bool {
	return slices.ContainsFunc(in.Judge(f), Judgement.NoHysteresis)
}

// Beyond is how far the value is beyond its limits, V.
func (j Judgement) Beyond() float64 {
	beyond := j.Min - j.Value.Volts
	if j.Max != 0 {
		beyond = max(beyond, j.Value.Volts-j.Max)
	}
	return beyond
}

// judged compares a value with a band, of which an end that is 0 is none.
func judged(symbol, title string, v Value, b part.Band) Judgement {
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
	return j
}

// Where inputs of two kinds switch, V, and as a share of the supply: two junctions, less a Schottky
// diode and more over the spread, or half the supply. From memory of the data books' transfer curves.
const (
	leastTTL, mostTTL   = 0.9, 1.7
	leastCMOS, mostCMOS = 0.4, 0.6
)

// Switches reports whether an ordinary input of a family may switch at a voltage, V. One with TTL levels
// cannot be told from one of TTL by it.
func Switches(f *part.Family, volts, supply float64) bool {
	if f.Technology == part.CMOS {
		return switchesAsCMOS(volts / supply)
	}
	return switchesAsTTL(volts)
}

func switchesAsTTL(volts float64) bool  { return volts > leastTTL && volts < mostTTL }
func switchesAsCMOS(share float64) bool { return share > leastCMOS && share < mostCMOS }

// otherKind reports whether an input switches as ordinary inputs of other families do, and not as its own.
func (in Input) otherKind(f *part.Family) bool {
	volts, share := in.Point().Volts, in.Point().Volts/in.SupplyVolts
	if f.Technology == part.CMOS {
		return switchesAsTTL(volts) && !switchesAsCMOS(share)
	}
	return switchesAsCMOS(share) && !switchesAsTTL(volts)
}
