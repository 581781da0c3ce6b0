package statistics

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"chipassay/host/report"
)

const columns = 30 // of a distribution, about

// A distribution is how many readings lie in each column. Columns begin at the
// limit and are counted from it, negative ones below it, so that each is wholly
// inside the limit or outside. A reading equal to the limit is inside.
type distribution struct {
	wide    float64 // of a column, V
	chips   map[int]int
	outside int
}

func distribute(readings []float64, limit float64, maximum bool) distribution {
	low, high := limit, limit
	for _, v := range readings {
		low, high = min(low, v), max(high, v)
	}
	d := distribution{wide: report.RoundUp(max(high-low, 0.1) / columns), chips: map[int]int{}}
	for _, v := range readings {
		k := int(math.Floor((v - limit) / d.wide))
		if maximum {
			k = int(math.Ceil((v-limit)/d.wide)) - 1
		}
		d.chips[k]++
		if (k >= 0) == maximum {
			d.outside++
		}
	}
	return d
}

// levelChart draws how the output voltages of chips lie against their limit, V: a maximum
// for VOL, a minimum for VOH. A reading that is not a number is left out.
func levelChart(title, name string, readings []float64, limit float64) string {
	maximum := name == "VOL"
	readings = slices.DeleteFunc(slices.Clone(readings), func(v float64) bool { return math.IsNaN(v) || math.IsInf(v, 0) })
	d := distribute(readings, limit, maximum)
	side, kind := "below", "at least"
	if maximum {
		side, kind = "above", "at most"
	}
	told := fmt.Sprintf("%s of %d outputs in columns of %g V. The limit is %s %.2f V; %d are %s it.", name, len(readings), d.wide, kind, limit, d.outside, side)
	first, last, most := -1, 0, 0
	if len(readings) > 0 {
		told += fmt.Sprintf(" They reach from %.2f to %.2f V.", slices.Min(readings), slices.Max(readings))
		found := slices.Sorted(maps.Keys(d.chips))
		first, last = min(first, found[0]), max(last, found[len(found)-1])
		most = slices.Max(slices.Collect(maps.Values(d.chips)))
	}
	s := begin(title, told)
	s.key("within the limit", "outside")
	y := s.counts(most, "outputs")
	x := axis{limit + d.wide*float64(first-1), limit + d.wide*float64(last+2), left, right}
	for k := first; k <= last; k++ {
		from, to := x.at(limit+d.wide*float64(k)), x.at(limit+d.wide*float64(k+1))
		s.bar(from+0.5, y.at(float64(d.chips[k])), to-from-1, bottom, (k >= 0) == maximum)
	}
	s.across(x, name+", V")
	s.limit(x.at(limit), fmt.Sprintf("limit %.2f V: %d of %d %s", limit, d.outside, len(readings), side))
	if len(readings) == 0 {
		s.nothing()
	}
	return s.end()
}

// limit draws a limit's line and, on the side that has more room, its words.
func (s *picture) limit(x float64, words string) {
	s.line(x, top, x, bottom, ink, 2)
	if x > (left+right)/2 {
		s.text(x-5, top+5, "end", words)
	} else {
		s.text(x+5, top+5, "start", words)
	}
}
