package record

import (
	"crypto/sha256"
	"encoding/hex"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chipassay/host/lot"
	"chipassay/host/verdict"
)

// box is a lot of 500 chips by the plan for normal inspection, MIL-STD-105E Table
// I (281 to 500 chips, level II: H) and Table II-A (H: 50 chips; AQL 1.0: Ac 1, Re 2).
func box(name string) Lot {
	return Lot{Time: time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC), Name: name, Source: "signal department",
		Plan: lot.Plan{LotSize: 500, AQL: 1, Level: lot.II, Severity: lot.Normal, Letter: "H", UsedLetter: "H", SampleSize: 50, Accept: 1, Reject: 2}}
}

func opened(t testing.TB, s *Store, l Lot) Lot {
	l, err := s.OpenLot(t.Context(), l)
	require.NoError(t, err)
	return l
}

// The digest is written out by hand after the comment of Sum.
func TestLotsAreKeptAsTheyWereOpened(t *testing.T) {
	s := newStore(t)
	first := opened(t, s, box("signal box 4"))
	text := "6:number,1:1,4:time,24:2026-03-02T08:00:00.000Z,4:name,12:signal box 4,6:source,17:signal department,4:size,3:500,3:aql,3:1.0,5:level,2:II," +
		"8:severity,6:normal,11:code_letter,1:H,11:used_letter,1:H,11:sample_size,2:50,6:accept,1:1,6:reject,1:2,"
	sum := sha256.Sum256([]byte(text))
	require.Equal(t, hex.EncodeToString(sum[:]), first.Digest)

	r := appended(t, s, nand())
	second := opened(t, s, box("  signal\nbox 5 "))
	require.Equal(t, "signal box 5", second.Name)
	require.Equal(t, first.Digest, second.Previous)
	require.Equal(t, []any{r.Serial, r.Digest}, []any{second.Record, second.RecordDigest})

	other := box("signal box 4")
	other.Plan.LotSize = 90
	there, err := s.OpenLot(t.Context(), other)
	require.ErrorIs(t, err, ErrLotOpen)
	require.Equal(t, first, there)
	_, err = s.OpenLot(t.Context(), box(" "))
	require.ErrorContains(t, err, "a lot's name has 1 to")
	_, err = s.Lot(t.Context(), "signal box 6")
	require.ErrorIs(t, err, ErrNoLot)

	require.NoError(t, s.Close())
	s, err = Open(s.Path())
	require.NoError(t, err)
	defer s.Close()
	lots, err := s.Lots(t.Context())
	require.NoError(t, err)
	require.Equal(t, []Lot{first, second}, lots)
	verified(t, s, 1)
}

func TestEveryAQLReadsBack(t *testing.T) { inBoth(t, testEveryAQLReadsBack) }

func testEveryAQLReadsBack(t *testing.T, newStore func(testing.TB) *Store) {
	s := newStore(t)
	for _, aql := range lot.AQLs() {
		plan, err := lot.PlanFor(90, aql, lot.S2, lot.Tightened)
		require.NoError(t, err)
		l := opened(t, s, Lot{Name: lot.FormatAQL(aql), Plan: plan, Resumed: aql > 4})
		got, err := s.Lot(t.Context(), l.Name)
		require.NoError(t, err)
		require.Equal(t, l, got)
	}
	verified(t, s, 0)
}

func TestLotsAreNeverChanged(t *testing.T) {
	s := newStore(t)
	opened(t, s, box("signal box 4"))
	for _, statement := range []string{
		"UPDATE lot SET reject = 9",
		"DELETE FROM lot",
		"INSERT OR REPLACE INTO lot SELECT * FROM lot",
		"INSERT INTO lot SELECT 7, time, 'x', source, size, aql, level, severity, code_letter, used_letter, sample_size, accept, reject, resumed, record, record_digest, previous, digest, decides FROM lot",
	} {
		_, err := s.db.Exec(statement)
		require.ErrorContains(t, err, "lots are only appended", statement)
	}
	verified(t, s, 0)
}

// What someone changes around the triggers is noticed by Verify.
func TestVerifyNoticesAChangedPlan(t *testing.T) {
	for statement, words := range map[string]string{
		"UPDATE lot SET accept = 2, reject = 3 WHERE number = 1": "lot 1 (signal box 4) was changed after it was opened",
		"UPDATE lot SET name = 'x' WHERE number = 2":             "lot 2 (x) was changed after it was opened",
		"DELETE FROM lot WHERE number = 1":                       "lot 2 (signal box 5) does not follow the lot before it",
	} {
		s := newStore(t)
		opened(t, s, box("signal box 4"))
		opened(t, s, box("signal box 5"))
		var update, remove string
		for name, text := range map[string]*string{"lot_no_update": &update, "lot_no_delete": &remove} {
			require.NoError(t, s.db.QueryRow("SELECT sql FROM sqlite_schema WHERE name = ?", name).Scan(text))
			_, err := s.db.Exec("DROP TRIGGER " + name)
			require.NoError(t, err)
		}
		for _, text := range []string{statement, update, remove} {
			_, err := s.db.Exec(text)
			require.NoError(t, err)
		}
		_, bad, err := s.Verify(t.Context())
		require.NoError(t, err)
		require.Equal(t, &Bad{Reason: words}, bad)
		_, err = s.Lots(t.Context())
		require.ErrorIs(t, err, ErrDamaged)
		require.ErrorContains(t, err, words)
	}
}

// A file of version 1 with records in it comes to version 2 with all of them; its
// backups restore, before and after.
func TestLotsInAFileOfVersionOne(t *testing.T) {
	path := filepath.Join(t.TempDir(), "records.sqlite")
	old, err := open(path, migrations[:1])
	require.NoError(t, err)
	var last Record
	for range 60 {
		last = appended(t, old, nand())
	}
	backup := filepath.Join(t.TempDir(), "old.sqlite")
	_, err = old.db.Exec("VACUUM INTO ?", backup)
	require.NoError(t, err)
	require.NoError(t, old.Close())

	restored := filepath.Join(t.TempDir(), "restored.sqlite")
	require.NoError(t, Restore(t.Context(), backup, restored))
	for _, p := range []string{path, restored} {
		s, err := Open(p)
		require.NoError(t, err)
		require.Equal(t, last.Digest, opened(t, s, box("signal box 4")).RecordDigest)
		verified(t, s, 60)
		again := filepath.Join(t.TempDir(), "again.sqlite")
		require.NoError(t, s.Backup(t.Context(), again))
		require.NoError(t, s.Close())
		elsewhere := filepath.Join(t.TempDir(), "elsewhere.sqlite")
		require.NoError(t, Restore(t.Context(), again, elsewhere))
		s, err = Open(elsewhere)
		require.NoError(t, err)
		verified(t, s, 60)
		_, err = s.Lot(t.Context(), "signal box 4")
		require.NoError(t, err)
		require.NoError(t, s.Close())
	}
}

// Programs that open lots at once get them one after another, and of one name one.
func TestLotsOfTwoPrograms(t *testing.T) {
	a := newStore(t)
	b, err := Open(a.Path())
	require.NoError(t, err)
	defer b.Close()
	var all sync.WaitGroup
	won := make(chan bool, 40)
	for i := range 20 {
		for _, s := range []*Store{a, b} {
			all.Go(func() {
				_, err := s.OpenLot(t.Context(), box("box "+string(rune('A'+i))))
				won <- err == nil
			})
		}
	}
	all.Wait()
	close(won)
	n := 0
	for ok := range won {
		if ok {
			n++
		}
	}
	require.Equal(t, 20, n)
	lots, err := b.Lots(t.Context())
	require.NoError(t, err)
	require.Len(t, lots, 20)
	verified(t, a, 0)
}

// A failed chip and one of grade reject are nonconforming, one without a verdict
// keeps its place, a retest counts where its first test stood, a void not at all.
func TestInspectCountsChipsAsTheyStand(t *testing.T) { inBoth(t, testInspectCountsChipsAsTheyStand) }

func testInspectCountsChipsAsTheyStand(t *testing.T, newStore func(testing.TB) *Store) {
	s := newStore(t)
	l := box("signal box 4")
	l.Plan.SampleSize = 5
	l = opened(t, s, l)
	standing := func() []any {
		got, err := s.Inspect(t.Context(), l)
		require.NoError(t, err)
		return []any{got.Drawn, got.Tested, got.Nonconforming, got.Beyond, got.Decision}
	}
	chip := func(v verdict.Verdict, grade verdict.Grade, retest int64) int64 {
		r := nand()
		r.Verdict, r.Grade, r.RetestOf = v, grade, retest
		return appended(t, s, r).Serial
	}
	chip("pass", "strong", 0)
	cable := chip("not-tested", "", 0)
	chip("pass", "reject", 0)
	require.Equal(t, []any{3, 2, 1, 0, lot.GoOn}, standing())
	chip("pass", "doubtful", 0)
	chip("pass", "", 0)
	sixth := chip("fail", "reject", 0)
	require.Equal(t, []any{5, 4, 1, 1, lot.GoOn}, standing())
	chip("fail", "reject", cable)
	require.Equal(t, []any{5, 5, 2, 1, lot.Reject}, standing())
	chip("pass", "sound", cable)
	require.Equal(t, []any{5, 5, 1, 1, lot.Accept}, standing())
	appended(t, s, Record{Kind: Void, Corrects: 4, Lot: "signal box 4"})
	require.Equal(t, []any{5, 5, 2, 0, lot.Reject}, standing()) // the sixth chip is the fifth now
	appended(t, s, Record{Kind: Void, Corrects: sixth, Lot: "signal box 4"})
	require.Equal(t, []any{4, 4, 1, 0, lot.GoOn}, standing())
}

// A series is the lots of one source at one AQL. Fifteen accepted ones whose plans
// have Ac 0 make a switching score of 30, and reduced inspection (ISO 2859-1:1999
// 9.3.3, from memory), where it is allowed; MIL-STD-105E Tables I and II-A: 2 to 8
// chips, II, A: 2 chips; AQL 6.5: Ac 0, Re 1.
func TestSeriesOfLots(t *testing.T) { inBoth(t, testSeriesOfLots) }

func testSeriesOfLots(t *testing.T, newStore func(testing.TB) *Store) {
	s := newStore(t)
	severity := func(source string, aql float64, reduced bool) lot.Severity {
		scheme, _, err := s.Scheme(t.Context(), source, aql, reduced)
		require.NoError(t, err)
		return scheme.Severity()
	}
	inspect := func(name string, severity lot.Severity, v verdict.Verdict) {
		plan, err := lot.PlanFor(8, 6.5, lot.II, severity)
		require.NoError(t, err)
		opened(t, s, Lot{Name: name, Source: "signal department", Plan: plan})
		for range plan.SampleSize {
			r := nand()
			r.Lot, r.Verdict, r.Grade = name, v, ""
			appended(t, s, r)
		}
	}
	for i := range 15 {
		require.Equal(t, lot.Normal, severity("signal department", 6.5, true))
		inspect("box "+string(rune('A'+i)), lot.Normal, "pass")
	}
	require.Equal(t, lot.Reduced, severity("signal department", 6.5, true))
	require.Equal(t, lot.Normal, severity("signal department", 6.5, false))
	require.Equal(t, lot.Normal, severity("signal department", 4, true))
	require.Equal(t, lot.Normal, severity("track workshop", 6.5, true))

	// A lot rejected on reduced inspection leads back to normal (9.3.4).
	inspect("box Q", lot.Reduced, "pass")
	require.Equal(t, lot.Reduced, severity("signal department", 6.5, true))
	inspect("box R", lot.Reduced, "fail")
	require.Equal(t, lot.Normal, severity("signal department", 6.5, true))
}
