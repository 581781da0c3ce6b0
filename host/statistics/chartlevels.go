package statistics

import (
	"fmt"
	"html/template"
	"maps"
	"math"
	"slices"

	assayed "chipassay/host/assay/levels"
	"chipassay/host/report"
	"chipassay/host/verdict"
)

// margins are how far inside their limits the output levels of chips are, V, by quantity;
// negative ones are outside. Levels without a limit, or with one that does not hold at the
// load of the test, are only counted.
type margins struct {
	vol, voh []float64
	left     int
}

func (m *margins) add(d report.Document) {
	for _, l := range d.Levels {
		switch {
		case d.Verdict == verdict.NotTested || l.Quantity != "VOL" && l.Quantity != "VOH":
		case l.Limit == nil || l.Standing == assayed.NotJudged.String():
			m.left++
		case l.Quantity == "VOL": // rounded, so that a level that equals its limit is inside
			m.vol = append(m.vol, report.Rounded(*l.Limit-l.Value))
		default:
			m.voh = append(m.voh, report.Rounded(l.Value-*l.Limit))
		}
	}
}

// charts are the margins of VOL and of VOH, of what was measured.
func (m margins) charts() (charts []template.HTML) {
	if len(m.vol) > 0 {
		charts = append(charts, levelChart("VOL: how far below its limit", m.vol))
	}
	if len(m.voh) > 0 {
		charts = append(charts, levelChart("VOH: how far above its limit", m.voh))
	}
	return charts
}

const columns = 30 // of a distribution, about

// distribute counts levels by columns of margin, so wide, V. Columns are counted from the
// limit, negative ones outside it, so that each is wholly inside the limit or outside.
func distribute(volts []float64) (levels map[int]int, wide float64) {
	levels = map[int]int{}
	wide = report.RoundUp(max(slices.Max(volts)-min(0, slices.Min(volts)), 0.1) / columns)
	for _, v := range volts {
		levels[int(math.Floor(v/wide))]++
	}
	return levels, wide
}

// levelChart draws the margins of levels, V, of which there is one or more.
func levelChart(title string, volts []float64) template.HTML {
	levels, wide := distribute(volts)
	outside := 0
	for _, v := range volts {
		if v < 0 {
			outside++
		}
	}
	says := fmt.Sprintf("%d of %d outputs outside", outside, len(volts))
	found := slices.Sorted(maps.Keys(levels))
	first, last := min(-1, found[0]), max(0, found[len(found)-1])
	p := picture{Title: title, Desc: fmt.Sprintf("%s their limit, in columns of %g V. From %.2f to %.2f V inside.", says, wide, slices.Min(volts), slices.Max(volts)),
		X: axisOf(wide*float64(first-1), wide*float64(last+2), left, right, 8), Across: "V inside the limit",
		Y: countAxis(slices.Max(slices.Collect(maps.Values(levels)))), Up: "outputs"}
	p.key("inside", "outside")
	for _, k := range found {
		from, to, upper := p.X.at(wide*float64(k)), p.X.at(wide*float64(k+1)), p.Y.at(float64(levels[k]))
		p.Bars = append(p.Bars, bar{from + 0.5, upper, to - from - 1, bottom - upper, k < 0})
	}
	limit := p.X.at(0)
	p.Strokes = []stroke{{fmt.Sprintf("M%.1f %dV%d", limit, top, bottom), 2}}
	caption := words{X: limit + 5, Y: top + 5, Anchor: "start", Text: says}
	if limit > (left+right)/2 { // its words are on the side that has more room
		caption.X, caption.Anchor = limit-5, "end"
	}
	p.Words = append(p.Words, caption)
	return p.draw()
}
