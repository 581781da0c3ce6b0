package record

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chipassay/host/marking"
)

// newStore is an empty store in a folder of its own.
func newStore(t testing.TB) *Store {
	s, err := Open(filepath.Join(t.TempDir(), "records.sqlite"))
	require.NoError(t, err)
	t.Cleanup(func() { s.Close() })
	return s
}

// nand is a good 74LS10 of drawer D3.
func nand() Record {
	return Record{
		Time: time.Date(2026, 3, 2, 8, 30, 0, 0, time.UTC), Part: "7410", Type: "74LS10", Family: "74LS", Drawer: "D3", Lot: "signal box 4",
		DateCode: "7938", From: time.Date(1979, 9, 17, 0, 0, 0, 0, time.UTC), To: time.Date(1979, 9, 23, 0, 0, 0, 0, time.UTC), Year: 1979,
		Verdict: "pass", Grade: "strong", Reason: "All steps answered as they should.", Report: []byte(`{"verdict":"pass"}`),
	}
}

func appended(t testing.TB, s *Store, r Record) Record {
	r, err := s.Append(t.Context(), r)
	require.NoError(t, err)
	return r
}

// verified checks the whole file.
func verified(t testing.TB, s *Store, rows int) {
	n, bad, err := s.Verify(t.Context())
	require.NoError(t, err)
	require.Nil(t, bad)
	require.Equal(t, rows, n)
}

// The encoding is written out by hand after the comment of Sum; netstrings are
// those of D. J. Bernstein, 1997 ("5:hello,"), from memory.
func TestSumIsThatOfTheFieldsWrittenOut(t *testing.T) { inBoth(t, testSumIsThatOfTheFieldsWrittenOut) }

func testSumIsThatOfTheFieldsWrittenOut(t *testing.T, newStore func(testing.TB) *Store) {
	s := newStore(t)
	first := appended(t, s, Record{Time: time.Date(2026, 3, 2, 8, 30, 0, 0, time.UTC), Part: "7410", Verdict: "fail", PinsFailed: []int{2, 12}, Report: []byte(`{ "a": 1 }`)})
	text := "6:serial,1:1,4:kind,4:test,4:time,24:2026-03-02T08:30:00.000Z,4:part,4:7410,7:verdict,4:fail,11:pins_failed,4:2 12,4:chip,1:1,6:report,7:{\"a\":1},"
	sum := sha256.Sum256([]byte(text))
	require.Equal(t, hex.EncodeToString(sum[:]), first.Digest)
	require.Empty(t, first.Previous)

	second := appended(t, s, nand())
	require.Equal(t, first.Digest, second.Previous)
	got, err := s.Get(t.Context(), 2)
	require.NoError(t, err)
	require.Equal(t, second, got)
	verified(t, s, 2)
}

// The columns are to hold what the report says, as it is in the golden
// reports.
func TestFromReport(t *testing.T) {
	report, err := os.ReadFile(filepath.Join("..", "report", "testdata", "fail.json"))
	require.NoError(t, err)
	r, err := FromReport(report)
	require.NoError(t, err)
	require.Equal(t, "432", r.DateCode)
	require.Equal(t, "1974-08-05", r.From.Format(time.DateOnly))
	require.Equal(t, "1974-08-11", r.To.Format(time.DateOnly))
	require.Equal(t, 1974, r.Year)
	require.EqualValues(t, "fail", r.Verdict)
	require.NotEmpty(t, r.Part)
	require.NotEmpty(t, r.Type)
	require.NotEmpty(t, r.PinsFailed)
	require.Len(t, r.DefinitionSHA256, 64)
	require.Len(t, r.VectorsSHA256, 64)
	require.False(t, r.Time.IsZero())
	require.JSONEq(t, string(report), string(r.Report))

	but, err := FromReport([]byte(`{"part":"7400","verdict":"pass-but","reason":"all right","but":["VOL","IIH"]}`))
	require.NoError(t, err)
	require.Equal(t, "VOL; IIH", but.Reason, "what is wrong is the reason that lists give")
	_, err = FromReport([]byte(`{"verdict":`))
	require.Error(t, err)
}

// The year of a week is that of its Thursday, also where the week begins in the December
// before or ends in the January after (ISO 8601). 2009-W01-1 is Monday 2008-12-29 and 2009-W53-7
// Sunday 2010-01-03: ISO week date tables. 1997-W01 begins on 1996-12-30: M. Kuhn, A summary
// of the international standard date and time notation.
func TestTheYearOfAWeekAtNewYear(t *testing.T) { inBoth(t, testTheYearOfAWeekAtNewYear) }

func testTheYearOfAWeekAtNewYear(t *testing.T, newStore func(testing.TB) *Store) {
	for _, c := range []struct {
		code, from, to string
		year           int
	}{
		{"9701", "1996-12-30", "1997-01-05", 1997}, {"0901", "2008-12-29", "2009-01-04", 2009}, {"0953", "2009-12-28", "2010-01-03", 2009},
	} {
		r, err := FromReport([]byte(`{"part":"7400","verdict":"pass","date_code":{"raw":"` + c.code + `","from":"` + c.from + `","to":"` + c.to + `"}}`))
		require.NoError(t, err)
		require.Equal(t, c.year, r.Year, c.code)

		d, err := marking.ParseDateCode(c.code, 0, time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC))
		require.NoError(t, err)
		typed := nand()
		typed.SetDate(&d)
		require.Equal(t, c.year, typed.Year, c.code)
		require.Equal(t, c.from, typed.From.Format(time.DateOnly), c.code)

		s := newStore(t)
		kept := appended(t, s, typed)
		for _, q := range []Query{{From: day(time.Date(c.year, 1, 1, 0, 0, 0, 0, time.UTC)), To: day(time.Date(c.year, 12, 31, 0, 0, 0, 0, time.UTC))}} {
			for r, err := range s.Find(t.Context(), q) {
				require.NoError(t, err)
				require.Equal(t, kept.Serial, r.Serial, "a filter by the year finds it")
				kept.Serial = 0
			}
		}
		require.Zero(t, kept.Serial, c.code)
		counts, err := s.Counts(t.Context(), Query{}, ByYear)
		require.NoError(t, err)
		require.Equal(t, fmt.Sprint(c.year), counts[0].Key)
	}
}

func TestWhatIsNoRecordIsRefused(t *testing.T) { inBoth(t, testWhatIsNoRecordIsRefused) }

func testWhatIsNoRecordIsRefused(t *testing.T, newStore func(testing.TB) *Store) {
	s := newStore(t)
	for name, change := range map[string]func(*Record){
		"no verdict":             func(r *Record) { r.Verdict = "" },
		"an unknown verdict":     func(r *Record) { r.Verdict = "passed" },
		"an unknown grade":       func(r *Record) { r.Grade = "A" },
		"an unknown kind":        func(r *Record) { r.Kind = "sale" },
		"half a date":            func(r *Record) { r.To = time.Time{} },
		"days that go backwards": func(r *Record) { r.From, r.To = r.To, r.From },
		"a test that corrects":   func(r *Record) { r.Corrects = 1 },
		"a void of nothing":      func(r *Record) { r.Kind = Void },
		"a report cut off":       func(r *Record) { r.Report = []byte(`{"a":`) },
		"a report of no fields":  func(r *Record) { r.Report = []byte(`[]`) },
		"a text without end":     func(r *Record) { r.Note = strings.Repeat("x", MaxText+1) },
	} {
		r := nand()
		change(&r)
		_, err := s.Append(t.Context(), r)
		require.ErrorIs(t, err, ErrRecord, name)
	}
	for _, r := range []Record{{Verdict: "pass", RetestOf: 9}, {Kind: Void, Corrects: 9}} {
		_, err := s.Append(t.Context(), r)
		require.ErrorIs(t, err, ErrNone)
	}
	verified(t, s, 0)
}

func TestTextsAreOneLine(t *testing.T) { inBoth(t, testTextsAreOneLine) }

func testTextsAreOneLine(t *testing.T, newStore func(testing.TB) *Store) {
	s := newStore(t)
	r := nand()
	r.Note = "leg 3\r\nbent\x1b[31m\x00 \xff"
	require.Equal(t, "leg 3  bent [31m  \uFFFD", appended(t, s, r).Note)
}

func TestRowsAreOnlyAppended(t *testing.T) {
	s := newStore(t)
	appended(t, s, nand())
	for _, statement := range []string{
		"UPDATE record SET verdict = 'fail'",
		"DELETE FROM record",
		"REPLACE INTO record SELECT * FROM record",
		"INSERT OR REPLACE INTO report VALUES (1, '{}')",
		"UPDATE report SET report = '{}'",
		"DELETE FROM report",
		"INSERT INTO report VALUES (2, '{}')",
	} {
		_, err := s.db.Exec(statement)
		require.ErrorContains(t, err, "records are only appended", statement)
	}
	verified(t, s, 1)
}

// A row changed, removed or put in by someone who took the triggers away is
// noticed, and named.
func TestVerifyFindsWhatWasChanged(t *testing.T) {
	const free = "DROP TRIGGER record_no_update; DROP TRIGGER record_no_delete; DROP TRIGGER report_no_update; DROP TRIGGER report_no_delete;"
	for statement, want := range map[string]Bad{
		"UPDATE record SET grade = 'sound' WHERE serial = 3":                                         {3, "was changed after it was written"},
		"UPDATE report SET report = replace(report, 'pass', 'pasS') WHERE serial = 4":                {4, "was changed after it was written"},
		"DELETE FROM report WHERE serial = 4":                                                        {4, "was changed after it was written"},
		"DELETE FROM record WHERE serial = 2":                                                        {2, "is missing"},
		"UPDATE record SET previous = (SELECT digest FROM record WHERE serial = 1) WHERE serial = 5": {5, "does not follow the record before it"},
		"UPDATE record SET time = 'noon' WHERE serial = 1":                                           {1, "cannot be read: column time: parsing time \"noon\" as \"2006-01-02T15:04:05.000Z\": cannot parse \"noon\" as \"2006\""},
		"INSERT INTO replaced VALUES (2)":                                                            {0, "the index of current records does not match the records"},
		"UPDATE tally SET n = n + 1":                                                                 {0, "the stock counts do not match the records"},
		"UPDATE record SET drawer = 'D9' WHERE serial = 5":                                           {5, "was changed after it was written"},
	} {
		s := newStore(t)
		for range 5 {
			appended(t, s, nand())
		}
		_, err := s.db.Exec(free + statement)
		require.NoError(t, err)
		n, bad, err := s.Verify(t.Context())
		require.NoError(t, err)
		require.Equal(t, &want, bad, statement)
		if want.Serial > 0 {
			require.Equal(t, int(want.Serial)-1, n)
		}
	}
}
