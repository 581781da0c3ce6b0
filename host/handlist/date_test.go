package handlist

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

// Week 38 of 1974 is 16 to 22 September: ISO 8601 has the 4th of January in week 1, which in 1974 began on 31 December.
func TestReadDate(t *testing.T) {
	now := time.Date(2026, 11, 30, 0, 0, 0, 0, time.UTC)
	for typed, want := range map[string]string{
		"7438": "1974-09-16 1974-09-22", "38/74": "1974-09-16 1974-09-22", "'38/74": "1974-09-16 1974-09-22", "38.1974": "1974-09-16 1974-09-22",
		"KW 38/74": "1974-09-16 1974-09-22", "13/74": "1974-03-25 1974-03-31", "KW 9/74": "1974-02-25 1974-03-03", "1974-W38": "1974-09-16 1974-09-22",
		"1974-09-16": "1974-09-16 1974-09-16", "1974-09-16 00:00:00": "1974-09-16 1974-09-16", "16.09.74": "1974-09-16 1974-09-16", "16. 9. 1974": "1974-09-16 1974-09-16",
		"1974-09": "1974-09-01 1974-09-30", "Sep-74": "1974-09-01 1974-09-30", "16-Sep-74": "1974-09-16 1974-09-16", "März 1974": "1974-03-01 1974-03-31",
		"juin 74": "1974-06-01 1974-06-30", "juil. 74": "1974-07-01 1974-07-31", "Feb. 76": "1976-02-01 1976-02-29",
		// A week or a month, a day or a month, no such week or day, and what is yet to come.
		"9/74": "", "12/74": "", "3/4/74": "", "54/74": "", "31.2.74": "", "2031-01-01": "", "some time in 82": "", "1974": "", "31-Sep-74": "", "Fall 74": "", "Dec 26": "",
	} {
		d, err := readDate(typed, 0, now)
		got := ""
		if err == nil {
			got = d.From.Format(time.DateOnly) + " " + d.To.Format(time.DateOnly)
			assert.NotEmpty(t, d.Raw)
		}
		assert.Equal(t, want, got, typed)
	}
}
