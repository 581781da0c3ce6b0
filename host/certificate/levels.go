package certificate

import (
	"fmt"
	"slices"
	"strconv"

	"chipassay/host/report"
)

// quantities are what may be measured, in the order of the page.
var quantities = []struct {
	symbol, title string
	digits        int // behind the point
}{
	{"VOL", "output low", 2},
	{"VOH", "output high", 2},
	{"IOZ", "leakage of a released output", 3},
	{"IIL", "current out of an input held low", 3},
	{"IIH", "current into an input held high", 3},
	{"open", "an open input floats to", 2},
	{"ICC", "supply current, nothing switching", 2},
}

// A levelTable is the readings of one quantity.
type levelTable struct {
	Title string // "VOL, output low"
	Rows  []levelRow
}

// A levelRow is one reading in the words of the page.
type levelRow struct {
	Pin                        int
	Name, Measured, Unit, Load string // the load of an output: "5.24 of 16 mA"
	Limit                      string // "≤ 0.4 V", or "none"
	Standing                   string
	Outside                    bool
}

// levelTables sorts the readings by quantity; a quantity not known here stands last.
func levelTables(levels []report.Level) (tables []levelTable) {
	rest := slices.Clone(levels)
	for _, q := range quantities {
		t := levelTable{Title: q.symbol + ", " + q.title}
		for _, l := range levels {
			if l.Quantity == q.symbol {
				t.Rows = append(t.Rows, rowOf(l, q.digits))
			}
		}
		rest = slices.DeleteFunc(rest, func(l report.Level) bool { return l.Quantity == q.symbol })
		if t.Rows != nil {
			tables = append(tables, t)
		}
	}
	for _, l := range rest {
		tables = append(tables, levelTable{Title: l.Quantity, Rows: []levelRow{rowOf(l, 3)}})
	}
	return tables
}

func rowOf(l report.Level, digits int) levelRow {
	r := levelRow{
		Pin: l.Pin, Name: l.Name, Unit: l.Unit, Limit: "none", Standing: l.Standing, Outside: l.Standing == "outside",
		Measured: fmt.Sprintf("%s ± %s", fixed(l.Value, digits), fixed(l.Uncertainty, digits)),
	}
	if l.Limit != nil {
		sign := map[string]string{"max": "≤", "min": "≥"}[l.Bound]
		r.Limit = fmt.Sprintf("%s %s %s", sign, strconv.FormatFloat(*l.Limit, 'f', -1, 64), l.Unit)
	}
	if l.LoadMA != nil && l.RatedMA != nil {
		r.Load = fmt.Sprintf("%.2f of %s mA", *l.LoadMA, strconv.FormatFloat(*l.RatedMA, 'f', -1, 64))
	}
	return r
}

// fixed writes a number with so many digits, and no minus before a zero.
func fixed(x float64, digits int) string {
	text := strconv.FormatFloat(x, 'f', digits, 64)
	if zero := strconv.FormatFloat(0, 'f', digits, 64); text == "-"+zero {
		return zero
	}
	return text
}
