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
	newest int // levels are of so many chips only, the newest; 0 if of all
}

// PageOf gathers what the page shows besides the yields. Reports are read for their levels:
// those of so many chips at most, the newest, or of all if that is 0.
func PageOf(ctx context.Context, s *record.Store, q record.Query, y Yields, chosen string, most int) (YieldPage, error) {
	p, read := YieldPage{Yields: y, Chosen: chosen}, 0
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
	q.NewestFirst, q.Limit = true, most
	for r, err := range s.FindReports(ctx, q) {
		if err != nil {
			return p, err
		}
		if read++; read == most {
			p.newest = most
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

//go:embed pieces.html
var piecesText string

// Pieces are the templates of what the pages show, for a page with another frame: yield-sheet
// of a YieldPage, lot-sheet of a LotSheet, and interval of a Group, the picture of its yield.
// They go with those of report.Page.
func Pieces() string { return piecesText }

//go:embed page.html
var pageText string

var pages = report.Page(piecesText + pageText)

// WriteHTML writes the page, which stands alone. Where no chip was tested it has no
// charts, and says so.
func (p YieldPage) WriteHTML(w io.Writer) error { return report.Execute(w, pages, "yield", p) }

// PageTitle is the page's own.
func (YieldPage) PageTitle() string { return "Yield" }

// Class is none.
func (YieldPage) Class() string { return "" }

// Subtitle says which chips the page is about.
func (p YieldPage) Subtitle() string {
	if p.Chosen == "" {
		return "All chips in the records"
	}
	return "Chips " + p.Chosen
}

// ByName is the groups' word.
func (p YieldPage) ByName() string { return Names[p.By] }

// Notes say what is in neither chart of the years.
func (p YieldPage) Notes() (notes []string) {
	if n := p.undate.Tested; n > 0 {
		notes = append(notes, "Without a date code, and in neither chart: "+chips(n)+", of them "+strconv.Itoa(p.undate.Good)+" good.")
	}
	if n := p.Total.NotTested; n > 0 {
		notes = append(notes, "Could not be tested, and in neither chart: "+chips(n)+".")
	}
	return notes
}

// LevelNotes say which levels the charts leave out.
func (p YieldPage) LevelNotes() (notes []string) {
	if p.newest > 0 {
		notes = append(notes, fmt.Sprintf("Levels are those of the newest %d chips.", p.newest))
	}
	if n := p.levels.left; n > 0 {
		notes = append(notes, fmt.Sprintf("Left out are %d readings that have no limit, or one that does not hold at the load of the test.", n))
	}
	return notes
}

// LevelCharts are how far inside their limits the output levels are.
func (p YieldPage) LevelCharts() []template.HTML { return p.levels.charts() }

func chips(n int) string {
	if n == 1 {
		return "1 chip"
	}
	return strconv.Itoa(n) + " chips"
}

// YearCharts are the date codes and the yields by year; none where no chip with a
// date code was tested.
func (p YieldPage) YearCharts() []template.HTML {
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
