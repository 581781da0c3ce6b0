package chart

import (
	"fmt"

	"chipassay/host/yield"
)

// Yields draws the yield of each date-code year as a dot with its 95 % interval.
func Yields(title string, years []yield.Group[int]) string {
	var told []string
	var all []Year
	for _, g := range years {
		if g.Tested > 0 {
			told = append(told, fmt.Sprintf("%d: %d of %d good, %.0f %%, 95 %% interval %.0f to %.0f %%",
				g.Key, g.Good, g.Tested, 100*g.Fraction(), 100*g.Low, 100*g.High))
			all = append(all, Year{g.Key, g.Good, g.Tested - g.Good})
		}
	}
	first, last, _ := span(all)
	s := begin(title, "Yield by date-code year. "+orNone(told))
	y := s.perCents("good chips, with 95 % intervals; under each year, of how many tested")
	x := axis{float64(first) - 0.5, float64(last) + 0.5, left, right}
	room := x.at(1) - x.at(0)
	for _, g := range years {
		if g.Tested == 0 {
			continue
		}
		middle, cap := x.at(float64(g.Key)), min(room*0.3, 7)
		s.line(middle, y.at(g.Low), middle, y.at(g.High), ink, 1.3)
		for _, end := range []float64{g.Low, g.High} {
			s.line(middle-cap, y.at(end), middle+cap, y.at(end), ink, 1.3)
		}
		s.printf(`<circle cx="%.1f" cy="%.1f" r="%.1f" fill="%s"/>`, middle, y.at(g.Fraction()), min(room*0.25, 4), ink)
		if number := fmt.Sprint(g.Tested); room >= 8*float64(len(number)) {
			s.printf(`<text x="%.1f" y="%d" text-anchor="middle" font-size="11" fill="%s">%s</text>`, middle, bottom+tickSize+26, soft, number)
		}
	}
	s.years(x, first, last)
	if len(all) == 0 {
		s.nothing()
	}
	return s.end()
}
