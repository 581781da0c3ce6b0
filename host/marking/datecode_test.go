package marking

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"chipassay/vectors/part"
)

func day(t testing.TB, s string) time.Time {
	t.Helper()
	d, err := time.Parse(time.DateOnly, s)
	require.NoError(t, err)
	return d
}

// Weeks whose days are printed elsewhere.
func TestPublishedWeeks(t *testing.T) {
	now := day(t, "2026-06-01")
	for _, c := range []struct{ raw, from, to, source string }{
		{"7938", "1979-09-17", "1979-09-23", "worked example of the project's statement of what date codes mean"},
		{"9701", "1996-12-30", "1997-01-05", "M. Kuhn, A summary of the international standard date and time notation"},
		{"1301", "2012-12-31", "2013-01-06", "ISO 8601 - rule for defining weeknumbers (docslib.org 11249519)"},
		{"1401", "2013-12-30", "2014-01-05", "the same"},
		{"1501", "2014-12-29", "2015-01-04", "the same"},
		{"0453", "2004-12-27", "2005-01-02", "ISO week date tables: 2004-W53-6 is Saturday 2005-01-01"},
		{"0552", "2005-12-26", "2006-01-01", "the same: 2005-W52-7 is Sunday 2006-01-01"},
		{"0601", "2006-01-02", "2006-01-08", "the same: 2006-W01-1 is Monday 2006-01-02"},
		{"0652", "2006-12-25", "2006-12-31", "the same: 2006-W52-7 is Sunday 2006-12-31"},
		{"0701", "2007-01-01", "2007-01-07", "the same: 2007-W01-1 is Monday 2007-01-01"},
		{"0901", "2008-12-29", "2009-01-04", "the same: 2009-W01-1 is Monday 2008-12-29"},
		{"0953", "2009-12-28", "2010-01-03", "the same: 2009-W53-7 is Sunday 2010-01-03"},
		{"2001", "2019-12-30", "2020-01-05", "the same: 2020-W01-1 is Monday 2019-12-30"},
		{"9952", "1999-12-27", "2000-01-02", "M. Kuhn: the last week of 1999"},
	} {
		d, err := ParseDateCode(c.raw, 0, now)
		require.NoError(t, err, c.raw)
		assert.Equal(t, c.from, d.From.Format(time.DateOnly), "%s, %s", c.raw, c.source)
		assert.Equal(t, c.to, d.To.Format(time.DateOnly), "%s, %s", c.raw, c.source)
		assert.Len(t, d.Candidates, 1, c.raw)
		assert.Empty(t, d.Doubt, c.raw)
		century := "20"
		if c.raw > "65" { // no chip is older than FirstYear
			century = "19"
		}
		assert.Equal(t, century+c.raw[:2]+"-W"+c.raw[2:], d.Period().String(), "the year marked is that of the week, not of its first day")
	}
}

// A week that began in the December before is not in the future: 2026-W01-1 is Monday
// 2025-12-29 (ISO week date tables).
func TestTheFirstWeekBeginsInDecember(t *testing.T) {
	for raw, candidates := range map[string]int{"2601": 1, "601": 7} { // of 1966 to 2026
		d, err := ParseDateCode(raw, 2026, day(t, "2025-12-29"))
		require.NoError(t, err, raw)
		assert.Equal(t, "2026-W01", d.Period().String())
		assert.Len(t, d.Candidates, candidates)
		assert.Empty(t, d.Doubt, "made in the family's first year")
	}
	_, err := ParseDateCode("2601", 0, day(t, "2025-12-28"))
	assert.ErrorContains(t, err, "in the future")
}

// Every day from 1960 to 2030 is in the week that the standard library's
// independent routine (time.ISOWeek, which the code does not use) says.
func TestEveryDayAgainstStandardLibrary(t *testing.T) {
	for d := day(t, "1960-01-01"); d.Year() < 2031; d = d.AddDate(0, 0, 1) {
		year, week := d.ISOWeek()
		p := weekOf(year, week)
		require.False(t, d.Before(p.From.Time) || d.After(p.To.Time), "%s is in %s", d.Format(time.DateOnly), p)
		require.LessOrEqual(t, week, weeksIn(year))
	}
}

// The years of 53 weeks since 1970, and that 400 years have 71 of them: ISO
// week date tables. A year is long when it begins on a Thursday, or is a leap
// year and begins on a Wednesday.
func TestLongYears(t *testing.T) {
	var long []int
	for y := 1970; y <= 2030; y++ {
		if weeksIn(y) == 53 {
			long = append(long, y)
		}
	}
	assert.Equal(t, []int{1970, 1976, 1981, 1987, 1992, 1998, 2004, 2009, 2015, 2020, 2026}, long)
	for y := 1900; y < 2300; y++ {
		newYear := time.Date(y, 1, 1, 0, 0, 0, 0, time.UTC).Weekday()
		leap := y%4 == 0 && y%100 != 0 || y%400 == 0
		assert.Equal(t, newYear == time.Thursday || leap && newYear == time.Wednesday, weeksIn(y) == 53, "%d", y)
	}
	n := 0
	for y := 1900; y < 2300; y++ {
		n += weeksIn(y) - 52
	}
	assert.Equal(t, 71, n)
}

func TestDecade(t *testing.T) {
	now := day(t, "2026-06-01")
	for _, c := range []struct {
		raw        string
		since      int
		taken      string
		candidates string
		rule       string
	}{
		{"432", 0, "1974-W32", "1974-W32 1984-W32 1994-W32 2004-W32 2014-W32 2024-W32", "earliest year from 1965"},
		{"432", 1981, "1984-W32", "1974-W32 1984-W32 1994-W32 2004-W32 2014-W32 2024-W32", "about 1981"},
		{"632", 0, "1966-W32", "1966-W32 1976-W32 1986-W32 1996-W32 2006-W32 2016-W32", "earliest year"}, // 2026 is to come
		{"453", 0, "2004-W53", "2004-W53", "only week"},                                                  // the one long year that ends in 4
		{"0512", 0, "2005-W12", "2005-W12", "only week"},
		{"0512", 1971, "2005-W12", "2005-W12", "only week"},
		{"6501", 0, "1965-W01", "1965-W01", "only week"},
		{" 7938\n", 0, "1979-W38", "1979-W38", "only week"},
	} {
		d, err := ParseDateCode(c.raw, c.since, now)
		require.NoError(t, err, c.raw)
		var words []string
		for _, p := range d.Candidates {
			words = append(words, p.String())
		}
		assert.Equal(t, c.candidates, strings.Join(words, " "), c.raw)
		assert.Equal(t, c.taken, d.Period().String(), c.raw)
		assert.Contains(t, d.Rule, c.rule, c.raw)
		assert.Empty(t, d.Doubt, c.raw)
	}
}

func TestEarlierThanFamily(t *testing.T) {
	d, err := ParseDateCode("7938", 1981, day(t, "2026-06-01"))
	require.NoError(t, err)
	assert.Equal(t, "1979-W38", d.Period().String())
	assert.Contains(t, d.Doubt, "1981")
}

func TestRefusals(t *testing.T) {
	now := day(t, "2026-06-01") // a Monday, of week 23
	for _, c := range []struct{ raw, message string }{
		{"", "empty"},
		{"79", "has 2 digits"},
		{"79381", "has 5 digits"},
		{"79A8", "'A' is not a digit"},
		{"٧٩٣٨", "is not a digit"},
		{"-938", "is not a digit"},
		{"7900", "no week 00"},
		{"900", "no week 00"},
		{"7954", "no week 54"},
		{"7999", "no week 99"},
		{"7953", "1979 has 52 weeks, not 53"},
		{"353", "no year that ends in 3"}, // 1973 to 2023: all of 52 weeks
		{"2624", "in the future: week 24 of 2026 begins on 2026-06-08"},
		{"2653", "in the future: week 53 of 2026 begins on 2026-12-28"},
		{"3012", "in the future: week 12 of 2030"},
		{"6432", "in the future: week 32 of 2064"}, // and 1964 is before the package
	} {
		_, err := ParseDateCode(c.raw, 0, now)
		require.Error(t, err, c.raw)
		assert.Contains(t, err.Error(), c.message)
		assert.NotContains(t, err.Error(), "\n")
	}
	_, err := ParseDateCode("2623", 0, now)
	assert.NoError(t, err, "the week that begins today is not in the future")
}

func TestEveryFamilyHasAFirstYear(t *testing.T) {
	for _, f := range part.AllFamilies() {
		assert.GreaterOrEqual(t, MadeSince(f), FirstYear, f.Name)
	}
}

// A code made from a past day is read back as the week with that day in it.
func TestReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		now := time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)
		d := now.AddDate(0, 0, -rapid.IntRange(0, 61*365).Draw(t, "days ago"))
		year, week := d.ISOWeek()
		raw := fmt.Sprintf("%02d%02d", year%100, week)
		code, err := ParseDateCode(raw, 0, now)
		require.NoError(t, err)
		assert.False(t, d.Before(code.From.Time) || d.After(code.To.Time), "%s read as %s", raw, code)
		short, err := ParseDateCode(raw[1:], 0, now)
		require.NoError(t, err)
		assert.Contains(t, short.Candidates, code.Period())
	})
}

func FuzzParseDateCode(f *testing.F) {
	for _, s := range []string{"7938", "432", "0453", "7954", "", "12345", "٧٩٣٨", "\xff99"} {
		f.Add(s)
	}
	now := time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)
	f.Fuzz(func(t *testing.T, raw string) {
		d, err := ParseDateCode(raw, 1966, now)
		if err != nil {
			return
		}
		if len(d.Candidates) == 0 || d.From.After(now) || d.Rule == "" || d.Period().Week == 0 {
			t.Fatalf("%q is read as %+v", raw, d)
		}
	})
}
