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

// A YieldPage is the page of the chips that were asked for. Where no chip was tested it has
// no charts, and says so.
type YieldPage struct {
	Yields
	PageTitle, Class, Subtitle string
	Years                      []template.HTML // charts
	Notes                      []string        // on them

	levels margins
}

// PageOf gathers what the page shows besides the yields; chosen says which chips they are of,
// and is empty for all.
func PageOf(ctx context.Context, s *record.Store, q record.Query, y Yields, chosen string) (YieldPage, error) {
	p := YieldPage{Yields: y, PageTitle: "Yield", Subtitle: "All chips in the records"}
	if chosen != "" {
		p.Subtitle = "Chips " + chosen
	}
	counts, err := s.Counts(ctx, q, record.ByYear)
	if err != nil {
		return p, err
	}
	byYear := map[int]record.Tally{}
	for _, c := range counts {
		year, err := strconv.Atoi(c.Key)
		if err != nil {
			return p, err
		}
		byYear[year] = c.Tally
	}
	p.Years = yearCharts(yearsOf(byYear))
	if none := byYear[0]; none.Tested() > 0 {
		p.Notes = append(p.Notes, fmt.Sprintf("Without a date code, and in neither chart: %s, of them %d good.", chips(none.Tested()), none.Good()))
	}
	if n := y.Total.NotTested; n > 0 {
		p.Notes = append(p.Notes, "Could not be tested, and in neither chart: "+chips(n)+".")
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

//go:embed page.html
var pageText string

var pages = report.Page(pageText)

// WriteHTML writes the page, which stands alone.
func (p YieldPage) WriteHTML(w io.Writer) error { return report.Execute(w, pages, "yield", p) }

// Levels are the charts of output levels, and LeftOut how many readings are not in them.
func (p YieldPage) Levels() []template.HTML { return p.levels.charts() }
func (p YieldPage) LeftOut() int            { return p.levels.left }

func chips(n int) string {
	if n == 1 {
		return "1 chip"
	}
	return strconv.Itoa(n) + " chips"
}
