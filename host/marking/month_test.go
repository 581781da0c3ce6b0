package marking

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"chipassay/vectors/library"
)

// Digits are a week and letters a month, whichever command takes the code; what is
// neither gets one line that says what to give.
func TestEitherKindOfCode(t *testing.T) {
	now := day(t, "2026-06-01")
	for raw, want := range map[string]string{"7938": "1979-W38", "938": "1969-W38", "T4": "1985-04", "t4": "1985-04", " SEP79 ": "1979-09", "2H5": "1972-08"} {
		d, err := ReadDateCode(raw, 0, now)
		require.NoError(t, err, raw)
		assert.Equal(t, want, d.Period().String(), raw)
	}
	for raw, says := range map[string]string{
		"Y4": "give the week as 7938 or 938, or the month as marked, such as T4", "79A8": "not understood", "7954": "there is no week 54", "45/79": "is not a digit", "": "is empty",
	} {
		_, err := ReadDateCode(raw, 0, now)
		require.ErrorContains(t, err, says, raw)
		assert.NotContains(t, err.Error(), "\n")
	}
	d, err := ReadDateCode("T4", 1990, now)
	require.NoError(t, err)
	assert.Equal(t, "2005-04", d.Period().String(), "the family decides, as for weeks")
}

// Codes whose months are printed elsewhere. Each is taken as in the source, and the
// other months that it can stand for are candidates.
func TestPublishedMonths(t *testing.T) {
	now := day(t, "2026-06-01")
	for _, c := range []struct {
		raw        string
		since      int
		taken      string
		candidates string
		source     string
	}{
		{"T4", 0, "1985-04", "1985-04 2005-04 2025-04", "G. Heinz, Aufdruck auf DDR-Schaltkreisen: T4 is April 1985"},
		{"W3", 0, "1988-03", "1988-03 2008-03", "IC-Benennungen (robotrontechnik.de): a U2164D of March 1988"},
		{"SN", 0, "1984-11", "1984-11 2004-11 2024-11", "a collector in the forum of robotrontechnik.de: November 84 (SN)"},
		{"U2", 0, "1986-02", "1986-02 2006-02 2026-02", "the same: Februar 86 (U2)"},
		{"X6", 0, "1989-06", "1989-06 2009-06", "the same: Juni 89 (X6)"},
		{"K7", 0, "1978-07", "1978-07 1998-07 2018-07", "the same: K7 für Juli 1978"},
		{"A1", 1980, "1990-01", "1970-01 1990-01 2010-01", "the tables of both: A is 1970 and 1990"},
		{"FO", 0, "1975-10", "1975-10 1995-10 2015-10", "the tables of both: F 1975, O October"},
		{"F0", 0, "1975-10", "1975-10 1995-10 2015-10", "a printed O read as a zero"},
		{"HD", 0, "1976-12", "1976-12 1996-12 2016-12", "the tables of both: H 1976, D December; no G"},
		{"I9", 0, "1977-09", "1977-09 1997-09 2017-09", "the tables of both: I is 1977"},
		{"J9", 0, "1977-09", "1977-09 1997-09 2017-09", "IEC 62, from memory: J is 1977"},
		{"R1", 2003, "2003-01", "1983-01 2003-01 2023-01", "qeeebo.com, how ceramic capacitors are dated: R is 2003, 1 January"},
		{"6B", 1990, "1996-02", "1966-02 1976-02 1986-02 1996-02 2006-02 2016-02 2026-02", "Lot code no yomikata (ne.jp/asahi/web/niwa): 6B is February 1996"},
		{"2H5", 2000, "2002-08", "1972-08 1982-08 1992-08 2002-08 2012-08 2022-08", "Hitachi data sheet HA179L00U, table 2: 8 is H; last digit of the year; week"},
		{"2J1", 2000, "2002-09", "1972-09 1982-09 1992-09 2002-09 2012-09 2022-09", "the same: 9 is J, there is no I"},
		{"2M", 2000, "2002-12", "1972-12 1982-12 1992-12 2002-12 2012-12 2022-12", "the same: 12 is M"},
		{"8N", 1980, "1988-11", "1968-11 1978-11 1988-11 1998-11 2008-11 2018-11", "IEC 60062, from memory"},
		{"mar79", 0, "1979-03", "1979-03", "the calendar"},
		{"79DEC", 0, "1979-12", "1979-12", "the calendar"},
	} {
		d, err := ParseMonthCode(c.raw, c.since, now)
		require.NoError(t, err, c.raw)
		var words []string
		for _, p := range d.Candidates {
			words = append(words, p.String())
		}
		assert.Equal(t, c.candidates, strings.Join(words, " "), "%s, %s", c.raw, c.source)
		assert.Equal(t, c.taken, d.Period().String(), "%s, %s", c.raw, c.source)
		assert.True(t, strings.HasPrefix(d.Rule, "Read as "), d.Rule)
		assert.NotContains(t, d.Rule, "ISO 8601", "a month is no week")
		assert.NotContains(t, d.Rule, "week from", c.raw)
		assert.Equal(t, 1, d.From.Day(), c.raw)
		assert.Equal(t, 1, d.To.AddDate(0, 0, 1).Day(), c.raw)
	}
}

// All the years of the table of IC-Benennungen (robotrontechnik.de), and its months.
func TestTheTableOfYearsAndMonths(t *testing.T) {
	now := day(t, "1991-01-01")
	for letter, year := range map[string]int{
		"F": 1975, "H": 1976, "I": 1977, "K": 1978, "L": 1979, "M": 1980, "N": 1981, "P": 1982, "R": 1983,
		"S": 1984, "T": 1985, "U": 1986, "V": 1987, "W": 1988, "X": 1989, "A": 1990,
	} {
		for i, month := range strings.Split("1 2 3 4 5 6 7 8 9 O N D", " ") {
			d, err := ParseMonthCode(letter+month, 1975, now)
			require.NoError(t, err, letter+month)
			assert.Equal(t, monthOf(year, i+1), d.Period(), letter+month)
		}
	}
}

// 8D is April by the letters of Japanese makers, and December by IEC 60062.
func TestACodeOfTwoRulesGivesBoth(t *testing.T) {
	d, err := ParseMonthCode("8D", 1980, day(t, "1990-01-01"))
	require.NoError(t, err)
	var words []string
	for _, p := range d.Candidates {
		words = append(words, p.String())
	}
	assert.Equal(t, []string{"1968-04", "1968-12", "1978-04", "1978-12", "1988-04", "1988-12"}, words)
	assert.Contains(t, d.Rule, "Japanese makers); or as last digit of the year; O, N, D")
}

func TestAMonthEarlierThanTheFamilyIsInDoubt(t *testing.T) {
	d, err := ParseMonthCode("MAR79", 1981, day(t, "2026-06-01"))
	require.NoError(t, err)
	assert.Contains(t, d.Doubt, "1981")
}

func TestWhatIsNoMonth(t *testing.T) {
	now := day(t, "2026-06-01")
	for _, raw := range []string{
		"", "T", "4", "T44", "G4", "Q4", "Y4", "Z4", "O4", "TA", "TX", "9I", "9P", "9Z", "4C0", "4C7", "79C", "44C", "MAR", "79MAR79", "MAR1979", "MAR30",
		"UA741CN", "F9316", "DS8830N", "D8205", "9602PC", "HM7611-5", "P8216", "226A", "Т4", // the last one begins with a Cyrillic letter
	} {
		_, err := ParseMonthCode(raw, 0, now)
		require.ErrorContains(t, err, "is not understood", raw)
	}
	_, err := ParseMonthCode("JUN26", 0, now)
	require.NoError(t, err, "the month that begins today is not in the future")
	_, err = ParseMonthCode("JUN26", 0, day(t, "2026-05-31"))
	require.Error(t, err)
}

// On a whole marking: the months beside a part, and groups that belong to a part.
func TestMonthsOnAMarking(t *testing.T) {
	now := time.Date(2026, 1, 15, 0, 0, 0, 0, time.UTC)
	for text, want := range map[string]string{
		"74LS00N T4":     "1985-04",
		"74HC00 6B":      "1986-02",
		"7400\n4C1":      "1974-03",
		"4011BE MAR79":   "1979-03",
		"t4":             "1985-04",
		"74LS00N XY-T4":  "", // behind a hyphen: a part of XY
		"74LS00 D8005":   "", // neither a part nor a week
		"74LS00 P8016":   "",
		"74LS00 7931PC":  "",
		"74LS00 UA741CN": "",
	} {
		m, err := Read(text, library.Builtin(), now)
		require.NoError(t, err, text)
		require.NotEmpty(t, m.Notes, "%s: the rule, or that it is not understood", text)
		if want == "" {
			require.Empty(t, m.Dates, text)
			continue
		}
		require.Equal(t, want, m.Dates[len(m.Dates)-1].Code.Period().String(), text)
		require.Contains(t, strings.Join(m.Notes, "\n"), "Read as ", text)
	}
	m, err := Read("7410 T4", library.Builtin(), now)
	require.NoError(t, err)
	require.Contains(t, strings.Join(m.Notes, "\n"), "as T4 can only be a date code, 7410 is most likely the part")
}

// Four digits on a chip with Cyrillic letters may be year and month (from memory).
func TestYearAndMonthOnACyrillicMarking(t *testing.T) {
	now := time.Date(2026, 1, 15, 0, 0, 0, 0, time.UTC)
	for text, want := range map[string]string{
		"К155ЛА3 8710": "8710 can also be year and month, 1987-10", "К155ЛА3 8713": "", "XY7400N 8710": "", "К155ЛА3 710": "", "К155ЛА3 2602": "",
	} {
		m, err := Read(text, library.Builtin(), now)
		if want == "" {
			require.NotContains(t, strings.Join(m.Notes, "\n"), "year and month", text)
			continue
		}
		require.NoError(t, err, text)
		require.Equal(t, "1987-W10", m.Dates[0].Code.Period().String())
		require.Contains(t, strings.Join(m.Notes, "\n"), want, text)
	}
}

func FuzzParseMonthCode(f *testing.F) {
	for _, s := range []string{"T4", "6B", "4C1", "8D", "MAR79", "79MAR", "", "Т4", "\xff4"} {
		f.Add(s)
	}
	now := time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)
	f.Fuzz(func(t *testing.T, raw string) {
		d, err := ParseMonthCode(raw, 1966, now)
		if err != nil {
			return
		}
		if len(d.Candidates) == 0 || d.From.After(now) || d.Rule == "" || d.Period().Month == 0 {
			t.Fatalf("%q is read as %+v", raw, d)
		}
	})
}
