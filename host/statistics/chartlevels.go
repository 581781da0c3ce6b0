package statistics

import (
	"fmt"
	"html/template"
	"maps"
	"math"
	"slices"

	"chipassay/host/report"
)

const columns = 30 // of a distribution, about

// A distribution is how many levels are in each column of margin, V. Columns are counted from
// the limit, negative ones outside it, so that each is wholly inside the limit or outside.
type distribution struct {
	wide   float64 // of a column, V
	levels map[int]int
}

func distribute(volts []float64) distribution {
	low, high := 0.0, 0.0
	for _, v := range volts {
		low, high = min(low, v), max(high, v)
	}
	d := distribution{wide: report.RoundUp(max(high-low, 0.1) / columns), levels: map[int]int{}}
	for _, v := range volts {
		d.levels[int(math.Floor(v/d.wide))]++
	}
	return d
}

// outside is how many levels are outside their limits.
func (d distribution) outside() (n int) {
	for column, levels := range d.levels {
		if column < 0 {
			n += levels
		}
	}
	return n
}

// charts are the margins of VOL and of VOH, of what was measured.
func (m margins) charts() (charts []template.HTML) {
	if len(m.vol) > 0 {
		charts = append(charts, template.HTML(levelChart("VOL: how far below its limit", m.vol)))
	}
	if len(m.voh) > 0 {
		charts = append(charts, template.HTML(levelChart("VOH: how far above its limit", m.voh)))
	}
	return charts
}

// levelChart draws the margins of levels, V. One that is not a number is left out.
func levelChart(title string, volts []float64) string {
	volts = slices.DeleteFunc(slices.Clone(volts), func(v float64) bool { return math.IsNaN(v) || math.IsInf(v, 0) })
	d := distribute(volts)
	says := fmt.Sprintf("%d of %d outputs outside", d.outside(), len(volts))
	first, last, most := -1, 0, 0
	words := fmt.Sprintf("%s their limit, in columns of %g V.", says, d.wide)
	if len(volts) > 0 {
		words += fmt.Sprintf(" From %.2f to %.2f V inside.", slices.Min(volts), slices.Max(volts))
		found := slices.Sorted(maps.Keys(d.levels))
		first, last = min(first, found[0]), max(last, found[len(found)-1])
		most = slices.Max(slices.Collect(maps.Values(d.levels)))
	}
	s := begin(title, words)
	s.key("inside", "outside")
	y := s.counts(most, "outputs")
	x := axis{d.wide * float64(first-1), d.wide * float64(last+2), left, right}
	for k := first; k <= last; k++ {
		from, to := x.at(d.wide*float64(k)), x.at(d.wide*float64(k+1))
		s.bar(from+0.5, y.at(float64(d.levels[k])), to-from-1, bottom, k < 0)
	}
	s.across(x, "V inside the limit")
	s.limit(x.at(0), says)
	if len(volts) == 0 {
		s.nothing()
	}
	return s.end()
}

// limit draws the limit's line and, on the side that has more room, its words.
func (s *picture) limit(x float64, words string) {
	s.line(x, top, x, bottom, ink, 2)
	if x > (left+right)/2 {
		s.text(x-5, top+5, "end", words)
	} else {
		s.text(x+5, top+5, "start", words)
	}
}
