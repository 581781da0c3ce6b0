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
	YearCharts                 []template.HTML
	Notes                      []string // on them

	levels margins
	newest int // levels are of so many chips only, the newest; 0 if of all
}

// PageOf gathers what the page shows besides the yields; chosen says which chips they are of,
// and is empty for all. Reports are read for their levels: those of so many chips at most, the
// newest, or of all if that is 0.
func PageOf(ctx context.Context, s *record.Store, q record.Query, y Yields, chosen string, most int) (YieldPage, error) {
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
	p.YearCharts = yearCharts(yearsOf(byYear))
	if none := byYear[0]; none.Tested() > 0 {
		p.Notes = append(p.Notes, fmt.Sprintf("Without a date code, and in neither chart: %s, of them %d good.", chips(none.Tested()), none.Good()))
	}
	if n := y.Total.NotTested; n > 0 {
		p.Notes = append(p.Notes, "Could not be tested, and in neither chart: "+chips(n)+".")
	}
	q.NewestFirst, q.Limit = true, most
	read := 0
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

//go:embed page.html
var pageText string

//go:embed pieces.html
var piecesText string

// Pieces are the templates of what the pages show, for a page with another frame: yield-sheet
// of a YieldPage, lot-sheet of a LotSheet, and interval of a Group, the picture of its yield.
// They go with those of report.Page.
func Pieces() string { return piecesText }

var pages = report.Page(piecesText + pageText)

// WriteHTML writes the page, which stands alone.
func (p YieldPage) WriteHTML(w io.Writer) error { return report.Execute(w, pages, "yield", p) }

// LevelCharts are how far inside their limits the output levels are.
func (p YieldPage) LevelCharts() []template.HTML { return p.levels.charts() }

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

func chips(n int) string {
	if n == 1 {
		return "1 chip"
	}
	return strconv.Itoa(n) + " chips"
}
