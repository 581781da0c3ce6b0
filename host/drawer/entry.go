package drawer

import (
	"bytes"
	"cmp"

	"chipassay/host/record"
	"chipassay/host/report"
)

// Entry is the record of a sheet, with the part as typed for its marking.
func Entry(s report.Sheet) (record.Record, error) {
	var object bytes.Buffer
	if err := s.WriteJSON(&object); err != nil {
		return record.Record{}, err
	}
	r, err := record.FromReport(object.Bytes())
	r.Marking = cmp.Or(s.Typed, s.Result.Type.Name())
	return r, err
}
