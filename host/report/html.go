package report

import (
	"cmp"
	_ "embed"
	"html/template"
	"io"

	"chipassay/host/verdict"
)

//go:embed page.html
var pageText string

//go:embed page.css
var styleText string

// page is the HTML report. The style is part of the program, so it is safe to
// stand in the page as it is; all other text is escaped.
var page = template.Must(template.New("page").Funcs(template.FuncMap{
	"style":         func() template.CSS { return template.CSS(styleText) },
	"level":         sheetLevel,
	"marginMeaning": func() string { return MarginMeaning },
}).Parse(pageText))

// A view is a document on a page: its number within a run, from 1; 0 alone.
type view struct {
	Document
	Number int
}

// WriteHTML writes the report of one chip as a page that stands alone.
func (d Document) WriteHTML(w io.Writer) error {
	return page.ExecuteTemplate(w, "one", view{d, 0})
}

// WriteHTML writes the run as one page that stands alone: a table with a row a
// chip, and the report of each below it.
func (t Tray) WriteHTML(w io.Writer) error {
	var chips []view
	for i, d := range t.Chips {
		chips = append(chips, view{d, i + 1})
	}
	return page.ExecuteTemplate(w, "tray", struct {
		Tray
		Title, Caveat string
		Views         []view
	}{t, cmp.Or(t.Title, "A tray of chips"), Caveat, chips})
}

// Class is the verdict as a class of the style sheet.
func (d Document) Class() verdict.Verdict {
	if d.Verdict.Known() {
		return d.Verdict
	}
	return verdict.NotTested
}

// Sentence is the reason as a sentence.
func (d Document) Sentence() string { return Sentence(d.Why()) }

// MoreFailures is how many failures the document does not list.
func (d Document) MoreFailures() int { return d.FailureCount - len(d.Failures) }
