package offer

import (
	_ "embed"
	"fmt"
	"io"
	"time"

	"chipassay/host/report"
	"chipassay/host/verdict"
)

//go:embed page.html
var pageText string

var page = report.Page(pageText)

// WriteHTML writes the list as one page that stands alone, with pictures where the chips have some.
func (l List) WriteHTML(w io.Writer) error {
	kind := "Chips to sell or swap"
	if l.Virtual {
		kind = "Demonstration, no offer: virtual chips"
	}
	var grades []verdict.Criterion
	for _, c := range verdict.Criteria {
		for _, r := range l.Rows {
			if r.Grade == c.Grade {
				grades = append(grades, verdict.Criterion{Grade: verdict.Grade(c.Grade.String()), Asks: c.Asks})
				break
			}
		}
	}
	return report.Execute(w, page, "offer", struct {
		List
		PageTitle, Class, Kind, Subtitle string
		Grades                           []verdict.Criterion
	}{l, kind, "", kind, fmt.Sprintf("%s, on %s", chips(l.Total()), l.Day.Format(time.DateOnly)), grades})
}

// Name is what a row offers.
func (r Row) Name() string { return fmt.Sprintf("%d × %s", len(r.Chips), r.Type) }

// Made says when the chips of a row were made.
func (r Row) Made() string {
	if r.DateCode == "" {
		return "not known"
	}
	return fmt.Sprintf("%s (%d)", r.DateCode, r.Year)
}

// Pictured are the chips of a row that have a photo.
func (r Row) Pictured() (list []Chip) {
	for _, c := range r.Chips {
		if c.Photo != nil {
			list = append(list, c)
		}
	}
	return list
}

func chips(n int) string {
	if n == 1 {
		return "1 chip"
	}
	return fmt.Sprintf("%d chips", n)
}
