package chart

import (
	"fmt"
	"math"
)

// VOL draws how the low output voltages of chips lie against their upper limit,
// both in V.
func VOL(title string, readings []float64, limit float64) string {
	return levels(title, "VOL", readings, limit, true)
}

// VOH draws how the high output voltages of chips lie against their lower limit,
// both in V.
func VOH(title string, readings []float64, limit float64) string {
	return levels(title, "VOH", readings, limit, false)
}

const columns = 30 // of a distribution, about

// levels draws the distribution in columns that begin at the limit, so that each is
// wholly inside it or outside. A reading equal to the limit is inside. One that is
// not a number is left out.
func levels(title, name string, readings []float64, limit float64, maximum bool) string {
	low, high, outside, shown := limit, limit, 0, 0
	for _, v := range readings {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			continue
		}
		low, high = min(low, v), max(high, v)
		shown++
		if (maximum && v > limit) || (!maximum && v < limit) {
			outside++
		}
	}
	wide := roundStep(max(high-low, 0.05) / columns) // V
	chips := map[int]int{}                           // by column, counted from the limit; negative ones are below it
	first, last, most := -1, 0, 0
	for _, v := range readings {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			continue
		}
		k := int(math.Floor((v - limit) / wide))
		if maximum {
			k = int(math.Ceil((v-limit)/wide)) - 1
		}
		chips[k]++
		first, last, most = min(first, k), max(last, k), max(most, chips[k])
	}
	side, kind := "below", "at least"
	if maximum {
		side, kind = "above", "at most"
	}
	told := fmt.Sprintf("%s of %d outputs in columns of %g V. The limit is %s %.2f V; %d are %s it.", name, shown, wide, kind, limit, outside, side)
	if shown > 0 {
		told += fmt.Sprintf(" They reach from %.2f to %.2f V.", lowest(readings), -lowest(negated(readings)))
	}
	s := begin(title, told)
	s.key("within the limit", "outside")
	y := s.counts(most)
	x := axis{limit + wide*float64(first-1), limit + wide*float64(last+2), left, right}
	for k := first; k <= last; k++ {
		from, to := x.at(limit+wide*float64(k)), x.at(limit+wide*float64(k+1))
		bad := (k >= 0) == maximum
		s.bar(from+0.5, y.at(float64(chips[k])), to-from-1, bottom, bad)
	}
	s.across(x, fmt.Sprintf("%s, V", name))
	s.limit(x.at(limit), fmt.Sprintf("limit %.2f V", limit))
	return s.end()
}

// limit draws a limit's line and, on the side that has more room, its words.
func (s *sheet) limit(x float64, words string) {
	s.line(x, top, x, bottom, ink, 2)
	if x > (left+right)/2 {
		s.text(x-5, top+5, "end", words)
	} else {
		s.text(x+5, top+5, "start", words)
	}
}

// lowest is the least of the values that are numbers.
func lowest(values []float64) float64 {
	least := math.Inf(1)
	for _, v := range values {
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			least = min(least, v)
		}
	}
	return least
}

func negated(values []float64) []float64 {
	out := make([]float64, len(values))
	for i, v := range values {
		out[i] = -v
	}
	return out
}
