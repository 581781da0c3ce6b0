package certificate

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"

	"chipassay/host/report"
)

//go:embed page.html
var pageText string

//go:embed labels.html
var labelsText string

// pages are the templates of certificates; labels have a style of their own.
var (
	pages  = report.Page(pageText)
	labels = template.Must(template.New("labels").Parse(labelsText))
)

// Write writes certificates as one page that stands alone and prints a chip a
// sheet, or more where there is much to say. The title is for several.
func Write(w io.Writer, title string, certificates []Certificate) error {
	v := struct {
		PageTitle, Class string
		Sheets           []Sheet
		Last             int64 // serial of the last sheet, below which a signature comes to stand
	}{PageTitle: title}
	for _, c := range certificates {
		p, err := c.Sheet()
		if err != nil {
			return fmt.Errorf("record %d: %w", c.Record.Serial, err)
		}
		v.Sheets, v.Last = append(v.Sheets, p), p.Serial()
	}
	if len(v.Sheets) == 1 {
		v.PageTitle = v.Sheets[0].PageTitle()
	}
	return report.Execute(w, pages, "certificates", v)
}
