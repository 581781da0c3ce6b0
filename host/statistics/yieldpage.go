package statistics

import (
	"context"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strconv"

	"chipassay/host/record"
	"chipassay/host/report"
)

// A YieldPage is the page of the chips that were asked for.
type YieldPage struct {
	Yields
	Chosen string // which chips, in words; empty for all

	years  []Group // by year, whatever Yields is by; those that have a date code
	undate Group   // those that have none
	levels margins
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
	for r, err := range s.FindReports(ctx, q) {
		if err != nil {
			return p, err
		}
		if len(r.Report) == 0 {
			continue
		}
		d, err := report.ReadDocument(r.Report)
		if err != nil {
			return p, fmt.Errorf("record %d: %w", r.Serial, err)
		}
		p.levels.add(d)
	}
	return p, nil
}

// Names are the groups' words on the page and in a terminal.
var Names = map[string]string{
	record.ByPart: "part", record.ByType: "type", record.ByFamily: "family",
	record.ByDrawer: "drawer", record.ByLot: "lot", record.ByYear: "date-code year",
}

//go:embed page.html
var pageText string

var pages = report.Page(pageText)

// WriteHTML writes the page, which stands alone. Where no chip was tested it has no
// charts, and says so.
func (p YieldPage) WriteHTML(w io.Writer) error {
	view := struct {
		Yields
		PageTitle, Class, Subtitle, ByName string
		Years, Levels                      []template.HTML
		Notes                              []string
		LevelNote                          string
	}{Yields: p.Yields, PageTitle: "Yield", Subtitle: "All chips in the records", ByName: Names[p.By], Years: p.yearCharts(), Levels: p.levels.charts()}
	if p.Chosen != "" {
		view.Subtitle = "Chips " + p.Chosen
	}
	if n := p.undate.Tested; n > 0 {
		view.Notes = append(view.Notes, "Without a date code, and in neither chart: "+chips(n)+", of them "+strconv.Itoa(p.undate.Good)+" good.")
	}
	if n := p.Total.NotTested; n > 0 {
		view.Notes = append(view.Notes, "Could not be tested, and in neither chart: "+chips(n)+".")
	}
	if n := p.levels.left; n > 0 {
		view.LevelNote = fmt.Sprintf("Left out are %d readings that have no limit, or one that does not hold at the load of the test.", n)
	}
	return report.Execute(w, pages, "yield", view)
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
	var years []Year
	for _, g := range p.years {
		if year, err := strconv.Atoi(g.Key); err == nil && g.Tested > 0 {
			years = append(years, Year{Year: year, Good: g.Good, Bad: g.Tested - g.Good})
		}
	}
	return yearCharts(years)
}

func yearCharts(years []Year) []template.HTML {
	if len(years) == 0 {
		return nil
	}
	return []template.HTML{
		template.HTML(yearChart("Chips tested, by year of the date code", years)),
		template.HTML(yieldChart("Yield, by year of the date code", years)),
	}
}
