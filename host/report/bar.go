package report

import (
	"fmt"
	"math"
	"strings"
)

// A reading is drawn as a mark on a bar, its limit as a line with hatching on
// the forbidden side, the tester's uncertainty as a band. Measures are in the
// drawing's own units: the scale runs from 0 to barLength.
const (
	barLength = 100
	barTop    = 4 // upper edge of the bar; above it stands the head of the mark
	barHeight = 6
	hatchStep = 3 // between the strokes of the hatching
)

// supplyVolts, V, is where the scale of a voltage ends.
const supplyVolts = 5

// A bar is one reading as a drawing.
type bar struct {
	Title, Desc string // what it shows, for who cannot see it
	Mark        float64
	Below       bool // the value is off the scale, and the mark an arrow
	Above       bool
	Band        extent
	Limited     bool
	Limit       float64
	Hatch       string // strokes over the forbidden side, as a path
}

type extent struct{ X, Width float64 }

// scaleTop is where the scale of a quantity's bars ends, V or mA: the supply for
// a voltage, twice the largest limit for a current, and for one without a limit
// the next of 1, 2, 5, 10 … that leaves room above the largest value.
func scaleTop(unit string, levels []Level) float64 {
	if unit == "V" {
		return supplyVolts
	}
	limit, most := 0.0, 0.0
	for _, l := range levels {
		if l.Limit != nil {
			limit = max(limit, *l.Limit)
		}
		most = max(most, l.Value)
	}
	if limit > 0 {
		return 2 * limit
	}
	return roundAbove(1.25 * most)
}

// roundAbove is the next of 1, 2 and 5 times a power of ten; of nothing it is 1.
func roundAbove(x float64) float64 {
	if x <= 0 {
		return 1
	}
	decade := math.Pow10(int(math.Floor(math.Log10(x))))
	for _, m := range []float64{1, 2, 5} {
		if m*decade >= x {
			return m * decade
		}
	}
	return 10 * decade
}

// drawBar draws a reading on a scale from 0 to top. A value below 0 by no more
// than the uncertainty is 0, and not off the scale.
func drawBar(l Level, top float64) bar {
	at := func(x float64) float64 { return hundredths(min(max(x/top, 0), 1) * barLength) }
	from := at(l.Value - l.Uncertainty)
	b := bar{
		Mark: at(l.Value), Below: l.Value < -l.Uncertainty, Above: l.Value > top,
		Band:    extent{from, hundredths(at(l.Value+l.Uncertainty) - from)},
		Limited: l.Limit != nil,
	}
	if b.Limited {
		if b.Limit = at(*l.Limit); l.Bound == "min" {
			b.Hatch = hatch(0, b.Limit)
		} else {
			b.Hatch = hatch(b.Limit, barLength)
		}
	}
	return b
}

// hatch strokes the bar between two places, rising to the right at 45°.
func hatch(from, to float64) string {
	var path strings.Builder
	for x := from - barHeight + hatchStep; x < to; x += hatchStep {
		left, right := max(x, from), min(x+barHeight, to)
		foot := barTop + barHeight - (left - x)
		if left >= right {
			continue
		}
		fmt.Fprintf(&path, "M%v %vl%v %v", hundredths(left), hundredths(foot), hundredths(right-left), -hundredths(right-left))
	}
	return path.String()
}

func hundredths(x float64) float64 { return math.Round(x*100) / 100 }
