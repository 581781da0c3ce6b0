package record

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Times are kept in UTC to the millisecond, cut off and not rounded, so that none is later
// than it was: the last of 1999 stays in 1999.
func TestTimesAreKeptToTheMillisecond(t *testing.T) { inBoth(t, testTimesAreKeptToTheMillisecond) }

func testTimesAreKeptToTheMillisecond(t *testing.T, newStore func(testing.TB) *Store) {
	s := newStore(t)
	tram := time.FixedZone("tram time", 2*60*60)
	for given, want := range map[time.Time]string{
		time.Date(2026, 3, 2, 10, 30, 7, 123_987_654, tram):             "2026-03-02T08:30:07.123Z",
		time.Date(1999, 12, 31, 23, 59, 59, 999_999_999, time.UTC):      "1999-12-31T23:59:59.999Z",
		time.Date(2026, 3, 2, 8, 30, 7, 0, time.UTC):                    "2026-03-02T08:30:07.000Z",
		time.Date(2026, 3, 1, 1, 0, 0, int(time.Millisecond)-1, tram):   "2026-02-28T23:00:00.000Z",
		time.Date(2026, 3, 1, 1, 0, 0, 2*int(time.Millisecond), tram):   "2026-02-28T23:00:00.002Z",
		time.Date(2026, 3, 1, 1, 0, 0, 900*int(time.Millisecond), tram): "2026-02-28T23:00:00.900Z",
	} {
		r := nand()
		r.Time = given
		r = appended(t, s, r)
		require.Equal(t, want, r.Time.Format(timeForm))
		require.Equal(t, r, mustGet(t, s, r.Serial), "what is given back is what is kept")
		l := box(want)
		l.Time = given
		require.Equal(t, want, opened(t, s, l).Time.Format(timeForm))
	}
	verified(t, s, 6)
}

// The limits that the package states: a text of 10,000 bytes and a report of 4 MiB are kept,
// go out and come in again; a byte more is refused. The note is all characters that JSON
// writes six times as long.
func TestLimits(t *testing.T) { inBoth(t, testLimits) }

func testLimits(t *testing.T, newStore func(testing.TB) *Store) {
	s := newStore(t)
	r := nand()
	r.Note = strings.Repeat("<", 10_000)
	r.Report = []byte(`{"note":"` + strings.Repeat("x", 4<<20-len(`{"note":""}`)) + `"}`)
	require.Len(t, r.Report, 4<<20)
	r = appended(t, s, r)
	require.Equal(t, r, mustGet(t, s, r.Serial))
	for _, form := range []struct {
		out func(*Store, *bytes.Buffer) (int, error)
		in  func(*Store, *bytes.Buffer) (Imported, error)
	}{
		{func(s *Store, b *bytes.Buffer) (int, error) { return s.ExportLines(t.Context(), b, Query{All: true}) },
			func(s *Store, b *bytes.Buffer) (Imported, error) { return s.ImportLines(t.Context(), b) }},
		{func(s *Store, b *bytes.Buffer) (int, error) { return s.ExportCSV(t.Context(), b, Query{All: true}) },
			func(s *Store, b *bytes.Buffer) (Imported, error) { return s.ImportCSV(t.Context(), b) }},
	} {
		var b bytes.Buffer
		_, err := form.out(s, &b)
		require.NoError(t, err)
		other := newStore(t)
		done, err := form.in(other, &b)
		require.NoError(t, err)
		require.Equal(t, Imported{Added: 1}, done)
		require.Equal(t, r.Report, mustGet(t, other, 1).Report)
	}

	long := nand()
	long.Note = r.Note + "x"
	_, err := s.Append(t.Context(), long)
	require.ErrorIs(t, err, ErrRecord)
	require.ErrorContains(t, err, "note is 10001 bytes long, over 10000")
	long = nand()
	long.Report = append([]byte(` `), r.Report...) // a blank that compact JSON has not
	_, err = s.Append(t.Context(), long)
	require.ErrorIs(t, err, ErrRecord)
	require.ErrorContains(t, err, "the report is 4194305 bytes long, over 4194304")

	named := box(strings.Repeat("x", 10_000))
	require.Len(t, opened(t, s, named).Name, 10_000)
	named.Name += "x"
	_, err = s.OpenLot(t.Context(), named)
	require.ErrorContains(t, err, "a lot's name has 1 to 10000 bytes")
}

// A line is parted by more than the control characters: U+2028 and U+2029, as in JavaScript.
func TestNoTextHasTwoLines(t *testing.T) { inBoth(t, testNoTextHasTwoLines) }

func testNoTextHasTwoLines(t *testing.T, newStore func(testing.TB) *Store) {
	s := newStore(t)
	r := nand()
	r.Note = "a\u2028b\u2029c\vd\fe\u0085f\x7fg"
	require.Equal(t, "a b c d e f g", appended(t, s, r).Note)
}

// Only the last 50 rows are computed again each time the file is opened; a change before
// them is for Verify.
func TestHowFarBackOpenLooks(t *testing.T) {
	for serial, refused := range map[string]bool{"11": true, "60": true, "10": false} {
		path, _ := filled(t) // 60 rows
		around(t, path, "UPDATE record SET grade = 'sound' WHERE serial = "+serial)
		s, err := Open(path)
		if refused {
			require.ErrorIs(t, err, ErrDamaged, serial)
			continue
		}
		require.NoError(t, err)
		_, bad, err := s.Verify(t.Context())
		require.NoError(t, err)
		require.Equal(t, &Bad{10, "was changed after it was written"}, bad)
		require.NoError(t, s.Close())
	}
}
