package offer

import (
	"io"

	"chipassay/host/record"
	"chipassay/host/sheet"
)

// cellOf is a number in a sheet: a text where a letter is before it.
func cellOf(n record.Number) any {
	if n.Bench == "" {
		return int(n.Serial)
	}
	return n.String()
}

// WriteWorkbook writes the list as a spreadsheet: a sheet of what is offered, and one of the
// certificates with their digests, a chip a row.
func (l List) WriteWorkbook(w io.Writer) error {
	var rows, certificates [][]any
	for _, r := range l.Rows {
		var year, age any = "", ""
		if r.Year != 0 {
			year, age = r.Year, l.Day.Year()-r.Year
		}
		rows = append(rows, []any{r.Type, r.Title, r.Family, r.DateCode, year, age, r.Grade.String(), r.Meaning(), len(r.Chips)})
		for _, c := range r.Chips {
			certificates = append(certificates, []any{cellOf(c.Number), r.Type, r.DateCode, r.Grade.String(), cellOf(c.Record), c.Digest})
		}
	}
	return sheet.Write(w,
		sheet.Sheet{Name: "offer", Head: Header[:len(Header)-2], Rows: sheet.Of(rows)},
		sheet.Sheet{Name: "certificates", Head: []string{"certificate", "type", "date_code", "grade", "record", "digest"}, Rows: sheet.Of(certificates)})
}
