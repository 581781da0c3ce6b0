// Package statistics puts on pages what records say as a whole: the yield of the
// chips tested, with their date codes, levels and commonest faults, and the sheet
// of a lot that is inspected by a sample. A page stands alone in one file.
package statistics

import (
	_ "embed"
	"html/template"
)

//go:embed page.html
var pageText string

//go:embed page.css
var styleText string

// pages has the style and the charts stand in the page as they are; all other text
// is escaped.
var pages = template.Must(template.New("pages").Funcs(template.FuncMap{
	"style": func() template.CSS { return template.CSS(styleText) },
}).Parse(pageText))

// A fact is a line of a list: a name, a value, and perhaps more about it.
type fact struct{ Label, Value, More string }
