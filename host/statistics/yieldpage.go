package statistics

import (
	"context"
	"fmt"
	"html/template"
	"io"
	"strconv"
	"strings"

	"chipassay/host/chart"
	"chipassay/host/record"
	"chipassay/host/yield"
)

// A YieldPage is the page of the chips that were asked for.
type YieldPage struct {
	Yields
	Chosen string // which chips, in words; empty for all

	years  []Group // by year, whatever Yields is by; those that have a date code
	undate Group   // those that have none
	levels []Readings
	left   int // readings without a limit that holds
}

// PageOf gathers what the page shows besides the yields.
func PageOf(ctx context.Context, s *record.Store, q record.Query, y Yields, chosen string) (YieldPage, error) {
	p := YieldPage{Yields: y, Chosen: chosen}
	byYear, err := group(ctx, s, q, record.ByYear)
	if err != nil {
		return p, err
	}
	for _, g := range byYear.Groups {
		if g.Key == "0" {
			p.undate = g
		} else {
			p.years = append(p.years, g)
		}
	}
	p.levels, p.left, err = Levels(reports(s.FindReports(ctx, q)))
	return p, err
}

// A row is a group as the page shows it.
type row struct {
	Name, Yield, Interval                     string
	Good, Tested, Doubtful, Reject, NotTested int
}

func rowOf(g Group, name string) row {
	r := row{name, "–", "–", g.Good, g.Tested, g.Doubtful, g.Reject, g.NotTested}
	if g.Tested > 0 {
		r.Yield, r.Interval = g.Words()
	}
	return r
}

// Words are the yield and its interval in per cent, "–" where no chip was tested.
func (g Group) Words() (share, interval string) {
	if g.Tested == 0 {
		return "–", "–"
	}
	return fmt.Sprintf("%.1f %%", 100*g.Yield.Fraction()), fmt.Sprintf("%.1f to %.1f %%", 100*g.Low, 100*g.High)
}

// Names are the groups' words on the page and in a terminal.
var Names = map[string]string{
	record.ByPart: "part", record.ByType: "type", record.ByFamily: "family",
	record.ByDrawer: "drawer", record.ByLot: "lot", record.ByYear: "date-code year",
}

// WriteHTML writes the page, which stands alone. Where no chip was tested it has no
// charts, and says so.
func (p YieldPage) WriteHTML(w io.Writer) error {
	view := struct {
		Title, Subtitle, By, Definition string
		Rows                            []row
		Total                           row
		Years, Levels                   []template.HTML
		Notes                           []string
		LevelNote                       string
		Pins                            []Pin
		Causes                          []yield.Count[string]
	}{
		Title: "Yield", Subtitle: "All chips in the records", By: Names[p.By], Definition: p.Definition, Total: rowOf(p.Total, "all"),
		Years: p.yearCharts(), Levels: p.levelCharts(), Pins: p.Pins, Causes: p.Causes,
	}
	if p.Chosen != "" {
		view.Subtitle = "Chips " + p.Chosen
	}
	for _, g := range p.Groups {
		view.Rows = append(view.Rows, rowOf(g, g.Name(p.By)))
	}
	if n := p.undate.Tested; n > 0 {
		view.Notes = append(view.Notes, "Without a date code, and in neither chart: "+chips(n)+", of them "+strconv.Itoa(p.undate.Good)+" good.")
	}
	if n := p.Total.NotTested; n > 0 {
		view.Notes = append(view.Notes, "Could not be tested, and in neither chart: "+chips(n)+".")
	}
	if p.left > 0 {
		view.LevelNote = fmt.Sprintf("Left out are %d readings that have no limit, or one that does not hold at the load of the test.", p.left)
	}
	return pages.ExecuteTemplate(w, "yield", view)
}

func chips(n int) string {
	if n == 1 {
		return "1 chip"
	}
	return strconv.Itoa(n) + " chips"
}

// yearCharts are the date codes and the yields by year; none where no chip with a
// date code was tested.
func (p YieldPage) yearCharts() []template.HTML {
	var years []chart.Year
	for _, g := range p.years {
		if year, err := strconv.Atoi(g.Key); err == nil && g.Tested > 0 {
			years = append(years, chart.Year{Year: year, Good: g.Good, Bad: g.Tested - g.Good})
		}
	}
	return yearCharts(years)
}

func yearCharts(years []chart.Year) []template.HTML {
	if len(years) == 0 {
		return nil
	}
	var dots []yield.Group[int]
	for _, y := range years {
		dots = append(dots, yield.Group[int]{Key: y.Year, Yield: yield.Of(y.Good, y.Good+y.Bad)})
	}
	return []template.HTML{
		template.HTML(chart.DateCodes("Chips tested, by year of the date code (bad: doubtful or reject)", years)),
		template.HTML(chart.Yields("Yield, by year of the date code", dots)),
	}
}

func (p YieldPage) levelCharts() []template.HTML { return levelCharts(p.levels) }

func levelCharts(levels []Readings) (charts []template.HTML) {
	for _, l := range levels {
		title := fmt.Sprintf("%s against %.2f V: %s", l.Quantity, l.Limit, strings.Join(l.Families, ", "))
		draw := chart.VOH
		if l.Quantity == "VOL" {
			draw = chart.VOL
		}
		charts = append(charts, template.HTML(draw(title, l.Volts, l.Limit)))
	}
	return charts
}
