package report

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"chipassay/host/assay/levels"
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
	Title string // "VOL, output low"
	Top   string // end of the scale of the bars: "5 V"
	Rows  []levelRow
	Worst levelRow // nearest its limit, or beyond it; of those without a limit the largest
}

// A levelRow is a reading in the words of the report.
type levelRow struct {
	Level
	Measured string // without unit: "0.23 ± 0.01"
	Max      string // the limit: "≤ 0.40 V", "≥ 2.40 V", or "none"
	Load     string // of an output level, mA of the rated mA: "5.24 of 16"; else empty
	Short    string // "VOL 0.23 V (≤ 0.40)"
	Bar      bar
}

// strain is how far the reading is beyond its limit, V or mA; without a limit its value.
func (l Level) strain() float64 {
	switch {
	case l.Limit == nil:
		return l.Value
	case l.Bound == "min":
		return *l.Limit - l.Value
	}
	return l.Value - *l.Limit
}

// LevelGroups sorts the readings by quantity.
func (d Document) LevelGroups() (groups []levelGroup) {
	for _, q := range quantities {
		of := slices.DeleteFunc(slices.Clone(d.Levels), func(l Level) bool { return l.Quantity != q.Symbol })
		if len(of) == 0 {
			continue
		}
		top := scaleTop(q.Unit, of)
		g := levelGroup{Title: q.Symbol + ", " + q.Title, Top: decimal(top, 0) + " " + q.Unit}
		for _, l := range of {
			g.Rows = append(g.Rows, l.row(q.Digits, top, g.Top))
		}
		g.Worst = slices.MaxFunc(g.Rows, func(a, b levelRow) int { return cmp.Compare(a.strain(), b.strain()) })
		groups = append(groups, g)
	}
	return groups
}

// row puts a reading into words, with so many digits behind the point and a bar that ends at
// the top of the scale.
func (l Level) row(digits int, top float64, scale string) levelRow {
	r := levelRow{Level: l, Measured: fixed(l.Value, digits) + " ± " + fixed(l.Uncertainty, digits), Max: "none", Bar: drawBar(l, top)}
	r.Short = fmt.Sprintf("%s %s %s", l.Quantity, fixed(l.Value, digits), l.Unit)
	if l.Limit != nil {
		limit := map[string]string{"max": "≤ ", "min": "≥ "}[l.Bound] + limitText(l)
		r.Max, r.Short = limit+" "+l.Unit, fmt.Sprintf("%s (%s)", r.Short, limit)
	}
	if l.Standing == levels.NotJudged.String() && (l.Quantity == "VOL" || l.Quantity == "VOH") {
		r.Short = fmt.Sprintf("%s %s %s (over its rated load)", l.Quantity, fixed(l.Value, digits), l.Unit)
	}
	if l.LoadMA != nil && l.RatedMA != nil {
		r.Load = fmt.Sprintf("%.2f of %s", *l.LoadMA, decimal(*l.RatedMA, 0))
	}
	r.Bar.Title = fmt.Sprintf("%s of pin %d (%s)", l.Quantity, l.Pin, l.Name)
	r.Bar.Desc = fmt.Sprintf("%s %s on a scale from 0 to %s; limit %s; %s", r.Measured, l.Unit, scale, r.Max, l.Standing)
	return r
}

// limitText is a reading's limit without its unit: volts, which may be interpolated, in
// hundredths like the reading, or in thousandths where the two would look the same although
// the reading is outside; mA as the table has them.
func limitText(l Level) string {
	if l.Unit != "V" {
		return decimal(*l.Limit, 3)
	}
	digits := 2
	if l.Standing == "outside" && fixed(*l.Limit, digits) == fixed(l.Value, digits) {
		digits++
	}
	return fixed(*l.Limit, digits)
}

// WorstGroups are the worst levels of a chip that passed whole, so that its report is one
// page; nil for others.
func (d Document) WorstGroups() []levelGroup {
	if !d.Plain() {
		return nil
	}
	groups := d.LevelGroups()
	for i, g := range groups {
		g.Worst.Name = g.Title + ", " + g.Worst.Name
		groups[i].Rows = []levelRow{g.Worst}
	}
	return groups
}

// LevelNotes are what there is to say below the table of levels.
func (d Document) LevelNotes() (notes []string) {
	if slices.ContainsFunc(d.Levels, func(l Level) bool { return l.Standing == levels.NotJudged.String() }) {
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
	if _, behind, _ := strings.Cut(text, "."); len(behind) >= digits {
		return text
	}
	return fixed(x, digits)
}
