package statistics

import (
	"fmt"
	"html/template"
	"strings"
)

// A Year is how many chips of a date-code year were tested, and are good.
type Year struct {
	Year int
	Yield
}

// yearCharts draw the years, of which there may be none, in their order: how many chips were
// good and bad, and the yield. A year without chips stays empty, so that the gaps between
// deliveries show.
func yearCharts(years []Year) []template.HTML {
	if len(years) == 0 {
		return nil
	}
	x := axisOf(float64(years[0].Year)-0.5, float64(years[len(years)-1].Year)+0.5, left, right, 11).whole()
	return []template.HTML{chipsChart(years, x), yieldChart(years, x)}
}

const yearName = "year of the date code"

// chipsChart draws each year as a bar of good chips, with the bad ones on top.
func chipsChart(years []Year, x axis) template.HTML {
	most, words := 0, []string{}
	for _, c := range years {
		most = max(most, c.Tested)
		words = append(words, fmt.Sprintf("%d: %d good, %d bad", c.Year, c.Good, c.Tested-c.Good))
	}
	y := countAxis(most)
	s := begin("Chips tested, by year of the date code", strings.Join(words, "; ")+".")
	s.key("good", "doubtful or reject")
	s.axes(x, y, yearName, "chips")
	wide := min(x.at(1)-x.at(0), 46) * 0.8
	for _, c := range years {
		middle, split, upper := x.at(float64(c.Year)), y.at(float64(c.Good)), y.at(float64(c.Tested))
		s.bar(middle-wide/2, split, wide, bottom, false)
		s.bar(middle-wide/2, upper, wide, split, true)
		if number := fmt.Sprint(c.Tested); wide >= 7.5*float64(len(number)) {
			s.text(middle, upper-4, "middle", number)
		}
	}
	return s.end()
}

// yieldChart draws the yield of each year as a dot with its 95 % interval.
func yieldChart(years []Year, x axis) template.HTML {
	var words []string
	for _, c := range years {
		words = append(words, fmt.Sprintf("%d: %d of %d good, %.0f %%, 95 %% interval %.0f to %.0f %%",
			c.Year, c.Good, c.Tested, 100*c.Fraction(), 100*c.Low, 100*c.High))
	}
	y := shareAxis
	s := begin("Yield, by year of the date code", strings.Join(words, "; ")+".")
	s.axes(x, y, yearName, "good, with 95 % intervals; below each year: chips tested")
	room := x.at(1) - x.at(0)
	for _, c := range years {
		middle, low, high, cap := x.at(float64(c.Year)), y.at(100*c.Low), y.at(100*c.High), min(room*0.3, 7)
		s.line(middle, low, middle, high, ink, 1.3)
		s.line(middle-cap, low, middle+cap, low, ink, 1.3)
		s.line(middle-cap, high, middle+cap, high, ink, 1.3)
		s.dot(middle, y.at(100*c.Fraction()), min(room*0.2, 3.3), ink)
		if number := fmt.Sprint(c.Tested); room >= 8*float64(len(number)) {
			s.add(`<text x="%.1f" y="%d" text-anchor="middle" font-size="11" fill="%s">%s</text>`, middle, bottom+tickSize+25, soft, number)
		}
	}
	return s.end()
}
