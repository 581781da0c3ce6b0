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
	return RoundUp(1.25 * most)
}

// RoundUp is the next of 1, 2 and 5 times a power of ten that is not under x; of nothing
// it is 1.
func RoundUp(x float64) float64 {
	if x <= 0 {
		return 1
	}
	power := math.Pow10(int(math.Floor(math.Log10(x))))
	for _, m := range []float64{1, 2, 5} {
		if x <= m*power*(1+1e-9) {
			return m * power
		}
	}
	return 10 * power
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
			b.Hatch = Hatch(0, barTop, b.Limit, barHeight, hatchStep)
		} else {
			b.Hatch = Hatch(b.Limit, barTop, barLength-b.Limit, barHeight, hatchStep)
		}
	}
	return b
}

// Hatch is a path of strokes rising to the right at 45° over a rectangle, so far apart
// along its edge. A pattern would need an identifier, and two pictures on one page would
// share it.
func Hatch(x, y, wide, high, step float64) string {
	var path strings.Builder
	for d := step; d < wide+high; d += step {
		x1, y1 := x, y+d // a stroke from the left or lower edge
		if d > high {
			x1, y1 = x+d-high, y+high
		}
		length := min(x+wide-x1, y1-y) // to the upper or right edge
		fmt.Fprintf(&path, "M%v %vl%v %v", hundredths(x1), hundredths(y1), hundredths(length), -hundredths(length))
	}
	return path.String()
}

func hundredths(x float64) float64 { return math.Round(x*100) / 100 }
