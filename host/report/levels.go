package report

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"chipassay/host/assay"
	"chipassay/vectors/part"
)

// quantities are what may be measured, in the order of the report.
var quantities = []struct {
	Quantity assay.Quantity
	Title    string
	Unit     string
	Digits   int // behind the point
}{
	{assay.VOL, "output low", "V", 2},
	{assay.VOH, "output high", "V", 2},
	{assay.IOZ, "leakage of a released output", "mA", 3},
	{assay.IIL, "current out of an input held low", "mA", 3},
	{assay.IIH, "current into an input held high", "mA", 3},
	{assay.Open, "voltage that an open input floats to", "V", 2},
	{assay.ICC, "supply current, nothing switching", "mA", 2},
}

// A levelGroup is the readings of one quantity, by pin.
type levelGroup struct {
	Quantity assay.Quantity
	Title    string // "VOL, output low"
	Top      string // end of the scale of the bars: "5 V"
	Rows     []levelRow
}

// A levelRow is a reading in the words of the report.
type levelRow struct {
	Pin                int // the supply pin for the supply current
	Name               string
	Value, Uncertainty string // without unit: "0.23", "0.01"
	Unit               string
	Limit              string // "≤ 0.40 V", "≥ 2.40 V", or "none"
	Load               string // of an output level, mA of the rated mA: "5.24 of 16"; else empty
	Standing           string
	Outside            bool
	Bar                bar
}

// levelGroups sorts the readings by quantity.
func (s Sheet) levelGroups() (groups []levelGroup) {
	if s.Result.Levels == nil {
		return nil
	}
	for _, q := range quantities {
		var readings []assay.Reading
		for _, r := range s.Result.Levels.Readings {
			if r.Quantity == q.Quantity {
				readings = append(readings, r)
			}
		}
		if readings == nil {
			continue
		}
		top := scaleTop(q.Unit, readings)
		g := levelGroup{Quantity: q.Quantity, Title: string(q.Quantity) + ", " + q.Title, Top: decimal(top, 0) + " " + q.Unit}
		for _, r := range readings {
			row := rowOf(s.Result.Type.Variant, r, q.Unit, q.Digits)
			row.Bar = drawBar(r, top)
			row.Bar.Title = fmt.Sprintf("%s of pin %d (%s)", q.Quantity, row.Pin, row.Name)
			row.Bar.Desc = fmt.Sprintf("%s ± %s %s on a scale from 0 to %s; limit %s; %s",
				row.Value, row.Uncertainty, row.Unit, g.Top, row.Limit, row.Standing)
			g.Rows = append(g.Rows, row)
		}
		groups = append(groups, g)
	}
	return groups
}

// rowOf puts a reading in words.
func rowOf(v *part.Variant, r assay.Reading, unit string, digits int) levelRow {
	row := levelRow{
		Pin: levelPin(v, r), Value: fixed(r.Value, digits), Uncertainty: fixed(r.Uncertainty, digits), Unit: unit,
		Limit: "none", Standing: standingWords(r), Outside: r.Standing() == assay.Outside,
	}
	row.Name = pinName(v, row.Pin)
	if !math.IsNaN(r.Limit) {
		sign := map[string]string{"max": "≤", "min": "≥"}[bound(r)]
		row.Limit = fmt.Sprintf("%s %s %s", sign, decimal(r.Limit, digits), unit)
	}
	if r.LoadMA > 0 {
		row.Load = fmt.Sprintf("%.2f of %s", r.LoadMA, decimal(r.RatedMA, 0))
	}
	return row
}

// levelPin is the pin of a reading; the supply current is the supply pin's.
func levelPin(v *part.Variant, r assay.Reading) int {
	return cmp.Or(r.Pin, v.VCC())
}

// bound tells whether a reading's limit is the most or the least it may be.
func bound(r assay.Reading) string {
	if r.Quantity == assay.VOH {
		return "min"
	}
	return "max"
}

// standingWords says how a reading stands to its limit, short enough for a
// column. A limit that was not compared is not the same as none.
func standingWords(r assay.Reading) string {
	switch s := r.Standing(); {
	case s == assay.Near:
		return "too near to tell"
	case s == assay.Unlimited && !math.IsNaN(r.Limit):
		return NotJudged
	default:
		return s.String()
	}
}

const NotJudged = "not judged"

// notJudgedWhy explains NotJudged below a table that says it.
const notJudgedWhy = "Not judged: the limit lies below what the tester resolves, or the load is above the one at which the limit holds."

// levelNotes are what there is to say below the table of levels.
func (s Sheet) levelNotes() (notes []string) {
	l := s.Result.Levels
	if l == nil {
		return nil
	}
	if slices.ContainsFunc(l.Readings, func(r assay.Reading) bool { return standingWords(r) == NotJudged }) {
		notes = append(notes, notJudgedWhy)
	}
	if l.Family != "" {
		notes = append(notes, "Family check: "+Sentence(l.Family))
	}
	for _, text := range l.Unmeasured {
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
	text := strconv.FormatFloat(micro(x), 'f', -1, 64)
	_, behind, _ := strings.Cut(text, ".")
	if len(behind) < digits {
		return fixed(x, digits)
	}
	return text
}

// micro rounds to millionths, which no reading resolves.
func micro(x float64) float64 { return math.Round(x*1e6) / 1e6 }
