package statistics

import (
	"fmt"
	"slices"
	"strings"

	"chipassay/host/report"
)

// A Year is how many chips of a date-code year were tested.
type Year struct{ Year, Good, Bad int }

// yearChart draws how many chips of each date-code year were good and bad. A year
// without chips stays empty, so that the gaps between deliveries show.
func yearChart(title string, years []Year) string {
	first, last, most := yearSpan(years)
	var words []string
	for _, y := range years {
		words = append(words, fmt.Sprintf("%d: %d good, %d bad", y.Year, y.Good, y.Bad))
	}
	s := begin(title, "Chips by date-code year. "+orNone(words))
	s.key("good", "doubtful or reject")
	y := s.counts(most, "chips")
	x := axis{float64(first) - 0.5, float64(last) + 0.5, left, right}
	wide := min(x.at(1)-x.at(0), 46) * 0.8
	for _, c := range years {
		middle := x.at(float64(c.Year))
		split := y.at(float64(c.Good))
		upper := y.at(float64(c.Good + c.Bad))
		s.bar(middle-wide/2, split, wide, bottom, false)
		s.bar(middle-wide/2, upper, wide, split, true)
		if number := fmt.Sprint(c.Good + c.Bad); wide >= 7.5*float64(len(number)) {
			s.text(middle, upper-4, "middle", number)
		}
	}
	s.years(x, first, last)
	if len(years) == 0 {
		s.nothing()
	}
	return s.end()
}

// yearSpan is the first and the last year and the highest bar.
func yearSpan(years []Year) (first, last, most int) {
	if len(years) == 0 {
		return 1980, 1980, 0 // of a plot that says so
	}
	first, last = years[0].Year, years[0].Year
	for _, y := range years {
		first, last = min(first, y.Year), max(last, y.Year)
		most = max(most, y.Good+y.Bad)
	}
	return first, last, most
}

// years draws the horizontal axis for years, with as many of them as have room.
func (s *picture) years(x axis, first, last int) {
	s.line(left, bottom, right, bottom, ink, 1)
	step := int(max(1, report.RoundUp(float64(last-first+1)/11)))
	for year := (first + step - 1) / step * step; year <= last; year += step {
		s.line(x.at(float64(year)), bottom, x.at(float64(year)), bottom+tickSize, ink, 1)
		s.text(x.at(float64(year)), bottom+tickSize+14, "middle", fmt.Sprint(year))
	}
	s.text((left+right)/2, height-3, "middle", "year of the date code")
}

func orNone(words []string) string {
	if len(words) == 0 {
		return "There are no chips to show."
	}
	return strings.Join(words, "; ") + "."
}

// yieldChart draws the yield of each date-code year as a dot with its 95 % interval.
func yieldChart(title string, years []Year) string {
	years = slices.DeleteFunc(slices.Clone(years), func(y Year) bool { return y.Good+y.Bad == 0 })
	var words []string
	for _, c := range years {
		g := YieldOf(c.Good, c.Good+c.Bad)
		words = append(words, fmt.Sprintf("%d: %d of %d good, %.0f %%, 95 %% interval %.0f to %.0f %%",
			c.Year, g.Good, g.Tested, 100*g.Fraction(), 100*g.Low, 100*g.High))
	}
	first, last, _ := yearSpan(years)
	s := begin(title, "Yield by date-code year. "+orNone(words))
	y := s.perCents("good, with 95 % intervals; below each year: chips tested")
	x := axis{float64(first) - 0.5, float64(last) + 0.5, left, right}
	room := x.at(1) - x.at(0)
	for _, c := range years {
		g := YieldOf(c.Good, c.Good+c.Bad)
		middle, cap := x.at(float64(c.Year)), min(room*0.3, 7)
		s.line(middle, y.at(g.Low), middle, y.at(g.High), ink, 1.3)
		for _, end := range []float64{g.Low, g.High} {
			s.line(middle-cap, y.at(end), middle+cap, y.at(end), ink, 1.3)
		}
		s.printf(`<circle cx="%.1f" cy="%.1f" r="%.1f" fill="%s"/>`, middle, y.at(g.Fraction()), min(room*0.25, 4), ink)
		if number := fmt.Sprint(g.Tested); room >= 8*float64(len(number)) {
			s.printf(`<text x="%.1f" y="%d" text-anchor="middle" font-size="11" fill="%s">%s</text>`, middle, bottom+tickSize+25, soft, number)
		}
	}
	s.years(x, first, last)
	if len(years) == 0 {
		s.nothing()
	}
	return s.end()
}
