package report

import (
	"cmp"
	_ "embed"
	"html/template"
	"io"
	"time"

	"chipassay/host/assay"
	"chipassay/vectors/stimulus"
)

//go:embed page.html
var pageText string

//go:embed page.css
var styleText string

// page is the HTML report. The style is part of the program, so it is safe to
// stand in the page as it is; all other text is escaped.
var page = template.Must(template.New("page").Funcs(template.FuncMap{
	"style":         func() template.CSS { return template.CSS(styleText) },
	"level":         stimulus.Sheet,
	"caveat":        func() string { return Caveat },
	"marginMeaning": func() string { return marginMeaning },
	"uncertainty":   func() string { return assay.Uncertainty },
}).Parse(pageText))

// WriteHTML writes the report of one chip as a page that stands alone.
func (s Sheet) WriteHTML(w io.Writer) error {
	return page.ExecuteTemplate(w, "one", s.view(0))
}

// WriteHTML writes the run as one page that stands alone: a table with a row a
// chip, and the report of each below it.
func (t Tray) WriteHTML(w io.Writer) error {
	v := trayView{Title: cmp.Or(t.Title, "A tray of chips"), Summary: t.Summary(), When: t.when(), Charts: t.Charts}
	v.Pass, v.Fail, v.NotTested = t.Counts()
	for i, s := range t.Sheets {
		v.Chips = append(v.Chips, s.view(i+1))
	}
	return page.ExecuteTemplate(w, "tray", v)
}

// when is the day of the run, or the first and the last.
func (t Tray) when() string {
	if len(t.Sheets) == 0 {
		return ""
	}
	first := t.Sheets[0].Result.Started.Format("2 January 2006")
	last := t.Sheets[len(t.Sheets)-1].Result.Started.Format("2 January 2006")
	if first == last {
		return first
	}
	return first + " to " + last
}

type trayView struct {
	Title, Summary, When  string
	Pass, Fail, NotTested int
	Charts                []template.HTML
	Chips                 []sheetView
}

// A sheetView is a sheet in the words of the page.
type sheetView struct {
	Number                            int // within a tray, from 1; 0 alone
	Place, Marking, Type, Title       string
	DateCode, DateWords               string // empty where none was given
	DateYear, Family, Reason          string
	Verdict                           assay.Verdict
	Word                              string
	Findings, NotTested, Cautions     []string
	Levels                            []levelGroup
	LevelNotes, Margins               []string
	Criteria                          []criterion
	Gates                             []Gate
	ChipFacts, TestFacts, OriginFacts []fact
	Failures                          []failureView
	MoreFailures                      int
	Package                           drawing
	Bitmap                            *bitmap // nil where no cell of a memory failed
	Day                               string
}

type failureView struct {
	assay.Failure
	Name string
}

func (s Sheet) view(number int) sheetView {
	r := s.Result
	t := r.Type
	v := sheetView{
		Number: number, Place: s.Place, Marking: cmp.Or(s.Typed, t.Name()), Type: t.Name(), Title: t.Part().Title,
		DateYear: s.dateYear(), Family: t.Family.Title, Reason: Sentence(r.Reason),
		Verdict: r.Verdict, Word: s.Headline(),
		Levels: s.levelGroups(), LevelNotes: s.levelNotes(), Margins: s.margins(), Criteria: s.criteria(),
		Findings: s.sentences(r.Findings), NotTested: s.sentences(r.NotTested), Cautions: s.sentences(s.cautions()),
		Gates: s.gates(), ChipFacts: s.chipFacts(), TestFacts: s.testFacts(), OriginFacts: s.originFacts(),
		MoreFailures: r.FailureCount - min(len(r.Failures), assay.MaxFailures),
		Bitmap:       bitmapOf(s),
		Package:      draw(s), Day: r.Started.Format(time.DateOnly),
	}
	if s.DateCode != nil {
		v.DateCode, v.DateWords = s.DateCode.Raw, dateWords(s.DateCode)
	}
	for _, f := range r.Failures[:min(len(r.Failures), assay.MaxFailures)] {
		v.Failures = append(v.Failures, failureView{f, pinName(t.Variant, f.Pin)})
	}
	return v
}
