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

// yearOf is the year of a date code by its first and last day: a week is of the year that
// ISO 8601 counts it to, not of its first day, for 9701 begins in 1996.
func yearOf(from, to time.Time) int {
	if to.Sub(from) > 6*24*time.Hour {
		return from.Year() // a month
	}
	year, _ := from.ISOWeek()
	return year
}
