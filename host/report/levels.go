package report

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// quantities are what may be measured, by the data books' symbols, in the order of the
// report.
var quantities = []struct {
	Symbol, Title, Unit string
	Digits              int // behind the point
}{
	{"VOL", "output low", "V", 2},
	{"VOH", "output high", "V", 2},
	{"IOZ", "leakage of a released output", "mA", 3},
	{"IIL", "current out of an input held low", "mA", 3},
	{"IIH", "current into an input held high", "mA", 3},
	{"open", "voltage of an open input", "V", 2},
	{"ICC", "supply current, nothing switching", "mA", 2},
}

// A levelGroup is the readings of one quantity, by pin.
type levelGroup struct {
	Symbol string
	Title  string // "VOL, output low"
	Top    string // end of the scale of the bars: "5 V"
	Rows   []levelRow
}

// A levelRow is a reading in the words of the report.
type levelRow struct {
	Level
	Measured string // without unit: "0.23 ± 0.01"
	Max      string // the limit: "≤ 0.40 V", "≥ 2.40 V", or "none"
	Load     string // of an output level, mA of the rated mA: "5.24 of 16"; else empty
	Bar      bar
}

// Outside reports whether the reading is outside its limit.
func (r levelRow) Outside() bool { return r.Standing == "outside" }

// LevelGroups sorts the readings by quantity.
func (d Document) LevelGroups() (groups []levelGroup) {
	for _, q := range quantities {
		var levels []Level
		for _, l := range d.Levels {
			if l.Quantity == q.Symbol {
				levels = append(levels, l)
			}
		}
		if levels == nil {
			continue
		}
		top := scaleTop(q.Unit, levels)
		g := levelGroup{Symbol: q.Symbol, Title: q.Symbol + ", " + q.Title, Top: decimal(top, 0) + " " + q.Unit}
		for _, l := range levels {
			r := levelRow{Level: l, Measured: fixed(l.Value, q.Digits) + " ± " + fixed(l.Uncertainty, q.Digits), Max: "none", Bar: drawBar(l, top)}
			if l.Limit != nil {
				r.Max = fmt.Sprintf("%s %s %s", sign(l), decimal(*l.Limit, q.Digits), q.Unit)
			}
			if l.LoadMA != nil && l.RatedMA != nil {
				r.Load = fmt.Sprintf("%.2f of %s", *l.LoadMA, decimal(*l.RatedMA, 0))
			}
			r.Bar.Title = fmt.Sprintf("%s of pin %d (%s)", q.Symbol, l.Pin, l.Name)
			r.Bar.Desc = fmt.Sprintf("%s %s on a scale from 0 to %s; limit %s; %s", r.Measured, l.Unit, g.Top, r.Max, l.Standing)
			g.Rows = append(g.Rows, r)
		}
		groups = append(groups, g)
	}
	return groups
}

// sign is that of a reading's limit.
func sign(l Level) string { return map[string]string{"max": "≤", "min": "≥"}[l.Bound] }

// digitsOf is how many digits a reading has behind the point.
func digitsOf(l Level) int {
	if l.Unit == "V" {
		return 2
	}
	return 3
}

// LevelNotes are what there is to say below the table of levels.
func (d Document) LevelNotes() (notes []string) {
	if slices.ContainsFunc(d.Levels, func(l Level) bool { return l.Standing == NotJudged }) {
		notes = append(notes, "Not judged: the limit is below the tester's resolution, or the load is above the limit's test condition.")
	}
	if d.FamilyCheck != "" {
		notes = append(notes, "Family check: "+Sentence(d.FamilyCheck))
	}
	for _, text := range d.LevelsUnmeasured {
		notes = append(notes, "Not measured: "+strings.TrimSuffix(text, ".")+".")
	}
	return notes
}

// fixed writes a number with so many digits behind the point, and no minus
// before a zero.
func fixed(x float64, digits int) string {
	text := strconv.FormatFloat(x, 'f', digits, 64)
	if strings.Trim(text, "-0.") == "" {
		text = strings.TrimPrefix(text, "-")
	}
	return text
}

// decimal writes a number of a table with all its digits, at least so many
// behind the point: a limit of 0.0001 mA is not one of 0.000 mA.
func decimal(x float64, digits int) string {
	text := strconv.FormatFloat(Rounded(x), 'f', -1, 64)
	_, behind, _ := strings.Cut(text, ".")
	if len(behind) < digits {
		return fixed(x, digits)
	}
	return text
}
