package record

import (
	"time"

	"chipassay/host/marking"
)

// SetDate makes a date code that of the record; nil is none.
func (r *Record) SetDate(d *marking.DateCode) {
	r.DateCode, r.From, r.To, r.Year = "", time.Time{}, time.Time{}, 0
	if d != nil {
		r.DateCode, r.From, r.To, r.Year = d.Raw, d.From.Time, d.To.Time, d.Period().Year
	}
}
