package drawer

import (
	"bytes"
	"cmp"
	"strings"

	"chipassay/host/record"
	"chipassay/host/report"
)

// Entry is the record of a test by its document, with the part as typed for its marking;
// a chip that was identified has none until somebody enters it.
func Entry(d report.Document) (record.Record, error) {
	var object bytes.Buffer
	if err := d.WriteJSON(&object); err != nil {
		return record.Record{}, err
	}
	r, err := record.FromReport(object.Bytes())
	if d.Identified == "" {
		r.Marking = cmp.Or(d.Typed, d.Type)
	} else if r.Note == "" { // for the log
		r.Note, _, _ = strings.Cut(d.Identified, ":")
	}
	return r, err
}
