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
	p := picture{Title: "Chips tested, by year of the date code", X: x, Across: yearName, Up: "chips"}
	p.key("good", "doubtful or reject")
	most, says := 0, []string{}
	for _, c := range years {
		most = max(most, c.Tested)
		says = append(says, fmt.Sprintf("%d: %d good, %d bad", c.Year, c.Good, c.Tested-c.Good))
	}
	p.Desc, p.Y = strings.Join(says, "; ")+".", countAxis(most)
	wide := min(x.at(1)-x.at(0), 46) * 0.8
	for _, c := range years {
		middle, split, upper := x.at(float64(c.Year)), p.Y.at(float64(c.Good)), p.Y.at(float64(c.Tested))
		p.Bars = append(p.Bars, bar{middle - wide/2, split, wide, bottom - split, false}, bar{middle - wide/2, upper, wide, split - upper, true})
		if number := fmt.Sprint(c.Tested); wide >= 7.5*float64(len(number)) {
			p.Words = append(p.Words, words{X: middle, Y: upper - 4, Anchor: "middle", Text: number})
		}
	}
	return p.draw()
}

// yieldChart draws the yield of each year as a dot with its 95 % interval.
func yieldChart(years []Year, x axis) template.HTML {
	p := picture{Title: "Yield, by year of the date code", X: x, Y: shareAxis, Across: yearName, Up: "good, with 95 % intervals; below each year: chips tested"}
	var says []string
	room := x.at(1) - x.at(0)
	for _, c := range years {
		says = append(says, fmt.Sprintf("%d: %d of %d good, %.0f %%, 95 %% interval %.0f to %.0f %%",
			c.Year, c.Good, c.Tested, 100*c.Fraction(), 100*c.Low, 100*c.High))
		middle, low, high, cap := x.at(float64(c.Year)), p.Y.at(100*c.Low), p.Y.at(100*c.High), min(room*0.3, 7)
		p.Strokes = append(p.Strokes, stroke{fmt.Sprintf("M%.1f %.1fH%.1fM%.1f %.1fV%.1fM%.1f %.1fH%.1f",
			middle-cap, low, middle+cap, middle, low, high, middle-cap, high, middle+cap), 1.3})
		p.Dots = append(p.Dots, dot{X: middle, Y: p.Y.at(100 * c.Fraction()), Radius: min(room*0.2, 3.3)})
		if number := fmt.Sprint(c.Tested); room >= 8*float64(len(number)) {
			p.Words = append(p.Words, words{middle, bottom + 30, "middle", number, true})
		}
	}
	p.Desc = strings.Join(says, "; ") + "."
	return p.draw()
}
