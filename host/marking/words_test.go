package marking

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// The first is the example of the comment; 1997-W01 begins on 1996-12-30 (M. Kuhn, A summary of
// the international standard date and time notation).
func TestDateWords(t *testing.T) {
	now := time.Date(2026, 5, 4, 0, 0, 0, 0, time.UTC)
	for code, want := range map[string][2]string{
		"7938": {"week 38 of 1979, 17 to 23 September 1979", "7938 (1979)"},
		"7931": {"week 31 of 1979, 30 July to 5 August 1979", "7931 (1979)"},
		"9701": {"week 1 of 1997, 30 December 1996 to 5 January 1997", "9701 (1997)"},
		// A month, and all others that the letters fit: T4 is April 1985 (G. Heinz, Aufdruck auf
		// DDR-Schaltkreisen), and the letters come again every twenty years.
		"T4":    {"April 1985; or April 2005, April 2025", "T4 (1985?)"},
		"FEB80": {"February 1980", "FEB80 (1980)"},
		"JAN82": {"January 1982", "JAN82 (1982)"}, // the first was in the last week of 1981
		"938":   {"week 38 of 1969, 15 to 21 September 1969; or the same week of 1979, 1989, 1999, 2009, 2019", "938 (1969?)"},
	} {
		d, err := ReadDateCode(code, 0, now)
		require.NoError(t, err)
		require.Equal(t, want, [2]string{d.Words(), d.String()})
	}
	require.Equal(t, "period not known", DateCode{Raw: "7600"}.Words())
	require.Equal(t, "7600", (&DateCode{Raw: "7600"}).String())
	var none *DateCode
	require.Equal(t, "none given", none.String())
	require.Zero(t, none.Year())
	// The first of January 1978 was a Sunday, of the last week of 1977 (Python's datetime).
	require.Equal(t, 1978, (&DateCode{From: monthOf(1978, 1).From, Candidates: []Period{monthOf(1978, 1)}}).Year())
}

// A date code is kept with its days as ISO 8601 writes them, and read back as it was.
func TestDateCodeInJSON(t *testing.T) {
	d, err := ParseDateCode("938", 1971, time.Date(2026, 5, 4, 0, 0, 0, 0, time.UTC))
	require.NoError(t, err)
	object, err := json.Marshal(d)
	require.NoError(t, err)
	require.Contains(t, string(object), `{"raw":"938","from":"1979-09-17","to":"1979-09-23","candidates":[{"year":1969,"week":38,"from":"1969-09-15","to":"1969-09-21"}`)
	var read DateCode
	require.NoError(t, json.Unmarshal(object, &read))
	require.Equal(t, d, read)
	month, err := ReadDateCode("JAN82", 0, time.Now())
	require.NoError(t, err)
	object, err = json.Marshal(month)
	require.NoError(t, err)
	require.Contains(t, string(object), `[{"year":1982,"month":1,"from":"1982-01-01","to":"1982-01-31"}]`)
	object, err = json.Marshal(Day{})
	require.NoError(t, err)
	require.Equal(t, `""`, string(object))
	require.NoError(t, json.Unmarshal(object, &read.From))
	require.True(t, read.From.IsZero())
	require.Error(t, json.Unmarshal([]byte(`"17 September"`), &read.From))
}
