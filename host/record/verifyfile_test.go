package record

import (
	"encoding/binary"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// verifiedFile is VerifyFile, which must leave the file and what lies beside it as they are.
func verifiedFile(t *testing.T, path string, kept Seals) (int, *Bad, error) {
	t.Helper()
	before, err := os.ReadFile(path)
	require.NoError(t, err)
	rows, bad, err := VerifyFile(t.Context(), path, kept)
	after, readErr := os.ReadFile(path)
	require.NoError(t, readErr)
	require.True(t, string(before) == string(after), "the file was written to")
	beside, readErr := os.ReadDir(filepath.Dir(path))
	require.NoError(t, readErr)
	require.Len(t, beside, 1)
	return rows, bad, err
}

// around runs statements with the triggers taken away, and puts them back.
func around(t *testing.T, path string, statements ...string) {
	t.Helper()
	db, err := connect(path, readWrite)
	require.NoError(t, err)
	rows, err := db.Query("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'")
	require.NoError(t, err)
	var drop, create []string
	for rows.Next() {
		var name, text string
		require.NoError(t, rows.Scan(&name, &text))
		drop, create = append(drop, "DROP TRIGGER "+name), append(create, text)
	}
	require.NoError(t, rows.Err())
	for _, list := range [][]string{drop, statements, create} {
		for _, statement := range list {
			_, err := db.Exec(statement)
			require.NoError(t, err, statement)
		}
	}
	require.NoError(t, db.Close())
}

// What is changed in the newest rows is found as what is changed in old ones, though
// the file is not opened any more for other work.
func TestVerifyFileFindsEveryChangedRow(t *testing.T) {
	for statement, want := range map[string]Bad{
		"UPDATE record SET grade = 'sound' WHERE serial = 60":                                {60, "was changed after it was written"},
		"UPDATE report SET report = '{}' WHERE serial = 60":                                  {60, "was changed after it was written"},
		"UPDATE record SET grade = 'sound' WHERE serial = 11":                                {11, "was changed after it was written"},
		"UPDATE record SET grade = 'sound' WHERE serial = 10":                                {10, "was changed after it was written"},
		"DELETE FROM record WHERE serial = 59":                                               {59, "is missing"},
		"UPDATE record SET previous = '' WHERE serial = 60":                                  {60, "does not follow the record before it"},
		"UPDATE record SET serial = 0 WHERE serial = 60":                                     {0, "is not part of the file"},
		"UPDATE record SET serial = -1 WHERE serial = 1":                                     {-1, "is not part of the file"},
		"INSERT INTO report VALUES (61, '{}')":                                               {0, "there is a report of record 61, and no such record"},
		"UPDATE record SET digest = 'x' WHERE serial = 60":                                   {60, "was changed after it was written"},
		"DELETE FROM record WHERE serial = 60; DELETE FROM report WHERE serial = 60":         {0, "the stock counts do not match the records"},
		"UPDATE tally SET n = n - 1":                                                         {0, "the stock counts do not match the records"},
		"INSERT INTO replaced VALUES (60)":                                                   {0, "the index of current records does not match the records"},
		"PRAGMA user_version = 1":                                                            {0, "index photo_chip is not part of the file"},
		"PRAGMA user_version = 9":                                                            {0, "its version is not the one of its tables"},
		"PRAGMA user_version = 0":                                                            {0, "its version is not the one of its tables"},
		"PRAGMA application_id = 7":                                                          {0, "its header is not that of a file of chipassay records"},
		"DROP INDEX record_lot":                                                              {0, "index record_lot is missing or was changed"},
		"DROP TABLE tally":                                                                   {0, "table tally is missing or was changed"},
		"UPDATE record SET time = 'noon' WHERE serial = 60":                                  {60, "cannot be read: column time: parsing time \"noon\" as \"2006-01-02T15:04:05.000Z\": cannot parse \"noon\" as \"2006\""},
		"PRAGMA writable_schema = 1; DELETE FROM sqlite_schema WHERE name = 'record_digest'": {0, "index record_digest is missing or was changed"},
	} {
		path, _ := filled(t)
		around(t, path, statement)
		_, bad, err := verifiedFile(t, path, Seals{})
		require.NoError(t, err, statement)
		require.NotNil(t, bad, statement)
		require.Equal(t, want, *bad, statement)
	}
	path, _ := filled(t)
	rows, bad, err := verifiedFile(t, path, Seals{})
	require.NoError(t, err)
	require.Nil(t, bad)
	require.Equal(t, 60, rows)
}

// A byte changed anywhere is found, or stands where no record is: then every record
// reads as before. A change of the mark by which a file is known counts too.
func TestVerifyFileFindsEveryChangedByte(t *testing.T) {
	path, whole := filled(t)
	want := contents(t, path)
	const seed = 11
	random := rand.New(rand.NewPCG(seed, 0))
	found, unused := 0, 0
	for i := range 300 {
		at := random.IntN(len(whole))
		if i < headerSize {
			at = i
		}
		changed := append([]byte{}, whole...)
		changed[at] ^= 1 << random.IntN(8)
		path := filepath.Join(t.TempDir(), "records.sqlite")
		require.NoError(t, os.WriteFile(path, changed, 0o600))
		_, bad, err := verifiedFile(t, path, Seals{})
		require.NoError(t, err, "seed %d, byte %d", seed, at)
		if bad != nil {
			found++
			continue
		}
		unused++
		require.Equal(t, want, contents(t, path), "seed %d, byte %d", seed, at)
	}
	t.Logf("%d changes were found, %d are where nothing is kept", found, unused)
	require.Greater(t, found, 60)
}

// contents are all records of a file with their reports.
func contents(t *testing.T, path string) (list []Record) {
	db, err := connect(path, untouched)
	require.NoError(t, err)
	defer db.Close()
	for r, err := range read(t.Context(), db, "SELECT "+wholeRow+" FROM "+withReport+" ORDER BY record.serial") {
		require.NoError(t, err)
		list = append(list, r)
	}
	return list
}

// An index that does not say what the rows say hides them from who asks for a drawer. Here
// the indexes of drawers and lots have changed places, which have as many entries.
func TestVerifyFileComparesTheIndexes(t *testing.T) {
	path, _ := filled(t)
	around(t, path, "PRAGMA writable_schema = 1", `UPDATE sqlite_schema SET rootpage =
		(SELECT sum(rootpage) FROM sqlite_schema WHERE name IN ('record_drawer', 'record_lot')) - rootpage WHERE name IN ('record_drawer', 'record_lot')`)
	_, bad, err := verifiedFile(t, path, Seals{})
	require.NoError(t, err)
	require.NotNil(t, bad)
	require.Contains(t, bad.Reason, "missing from index record_")
}

// A log of no bytes, which a full disk leaves behind, holds nothing, and no lock is taken
// for it, which would want room on the disk.
func TestVerifyFileBesideAnEmptyLog(t *testing.T) {
	path, _ := filled(t)
	require.NoError(t, os.WriteFile(path+"-wal", nil, 0o600))
	rows, bad, err := VerifyFile(t.Context(), path, Seals{})
	require.NoError(t, err)
	require.Nil(t, bad)
	require.Equal(t, 60, rows)
	require.NoFileExists(t, path+"-shm")
}

// What another program wrote and has only in its log is verified too.
func TestVerifyFileWhileAnotherProgramWrites(t *testing.T) {
	s := newStore(t)
	for range 3 {
		appended(t, s, nand())
	}
	rows, bad, err := VerifyFile(t.Context(), s.Path(), Seals{})
	require.NoError(t, err)
	require.Nil(t, bad)
	require.Equal(t, 3, rows)
}

// What is not ours, is of a later version or is not there is no change, and is refused.
func TestVerifyFileRefuses(t *testing.T) {
	_, whole := filled(t)
	marks := append([]byte{}, whole...)
	binary.BigEndian.PutUint32(marks[applicationIDAt:], 0)
	marks[0] = 's'
	path := filepath.Join(t.TempDir(), "records.sqlite")
	for _, foreign := range [][]byte{[]byte("D3: 74LS10, 14 pieces"), marks} {
		require.NoError(t, os.WriteFile(path, foreign, 0o600))
		_, bad, err := verifiedFile(t, path, Seals{})
		require.Nil(t, bad)
		require.ErrorIs(t, err, ErrForeign)
	}
	for _, cut := range [][]byte{{}, whole[:60], whole[:8192], whole[:len(whole)-100]} {
		require.NoError(t, os.WriteFile(path, cut, 0o600))
		_, bad, err := verifiedFile(t, path, Seals{})
		require.NoError(t, err)
		require.NotNil(t, bad)
	}
	newer, err := open(filepath.Join(t.TempDir(), "records.sqlite"), append(slices.Clip(migrations), "CREATE TABLE shelf (x)"))
	require.NoError(t, err)
	require.NoError(t, newer.Close())
	_, bad, err := verifiedFile(t, newer.Path(), Seals{})
	require.Nil(t, bad)
	require.ErrorIs(t, err, ErrNewer)
	require.ErrorContains(t, err, "version 6, this one knows 5")
	_, _, err = VerifyFile(t.Context(), filepath.Join(t.TempDir(), "none"), Seals{})
	require.ErrorIs(t, err, os.ErrNotExist)
}

// A file of version 1 has no lots, and is verified without being made into version 2.
func TestVerifyFileOfVersionOne(t *testing.T) {
	old, err := open(filepath.Join(t.TempDir(), "records.sqlite"), migrations[:1])
	require.NoError(t, err)
	first := appended(t, old, nand())
	require.NoError(t, old.Close())
	rows, bad, err := verifiedFile(t, old.Path(), Seals{Records: Seal{1, first.Digest}})
	require.NoError(t, err)
	require.Nil(t, bad)
	require.Equal(t, 1, rows)
	_, bad, err = verifiedFile(t, old.Path(), Seals{Lots: Seal{1, first.Digest}})
	require.NoError(t, err)
	require.Equal(t, &Bad{Reason: "lot 1 is missing: the file ends with lot 0"}, bad)
}

// A file of version 2 does not say what decides its lots, and is verified as it is.
func TestVerifyFileOfVersionTwo(t *testing.T) {
	old, err := open(filepath.Join(t.TempDir(), "records.sqlite"), migrations[:2])
	require.NoError(t, err)
	l := box("signal box 4")
	l.Number, l.Digest = 1, ""
	l.Digest = l.Sum()
	var names []string
	var values []any
	for _, f := range l.fields() {
		if f.name != "decides" {
			names, values = append(names, f.name), append(values, f.value)
		}
	}
	_, err = old.db.Exec("INSERT INTO lot ("+strings.Join(names, ", ")+") VALUES (?"+strings.Repeat(", ?", len(values)-1)+")", values...)
	require.NoError(t, err)
	require.NoError(t, old.Close())
	_, bad, err := verifiedFile(t, old.Path(), Seals{Lots: Seal{1, l.Digest}})
	require.NoError(t, err)
	require.Nil(t, bad)
	s, err := Open(old.Path()) // which makes it into the present version
	require.NoError(t, err)
	lots, err := s.Lots(t.Context())
	require.NoError(t, err)
	require.Equal(t, Deciding(""), lots[0].Decides)
	require.NoError(t, s.Close())
}

// The chain that a forger recomputes is sound in itself: only what was kept
// elsewhere shows that rows were cut off or rewritten. Made here by writing the
// forged rows into a new file, as a forger may.
func TestSealsShowWhatTheChainCannot(t *testing.T) {
	write := func(records, lots, change int) (string, []Record, []Lot, Seals) {
		s := newStore(t)
		var rs []Record
		var ls []Lot
		for i := 1; i <= records; i++ {
			r := nand()
			if i == change {
				r.Grade = "sound"
			}
			rs = append(rs, appended(t, s, r))
			if i <= lots {
				l := box("box " + string(rune('A'+i)))
				if i == change {
					l.Plan.Accept, l.Plan.Reject = 2, 3
				}
				ls = append(ls, opened(t, s, l))
			}
		}
		now, err := s.Seals(t.Context())
		require.NoError(t, err)
		require.NoError(t, s.Close())
		return s.Path(), rs, ls, now
	}
	path, records, lots, now := write(5, 3, 0)
	require.Equal(t, Seals{Records: Seal{5, records[4].Digest}, Lots: Seal{3, lots[2].Digest}}, now)
	cut, _, _, _ := write(4, 2, 0)
	anew, _, _, _ := write(5, 3, 3)
	for name, c := range map[string]struct {
		path string
		kept Seals
		want string
	}{
		"as it was":         {path, now, ""},
		"an earlier seal":   {path, Seals{Records: Seal{2, records[1].Digest}, Lots: Seal{1, lots[0].Digest}}, ""},
		"the records alone": {path, Seals{Records: now.Records}, ""},
		"cut, unseen":       {cut, Seals{}, ""},
		"rewritten, unseen": {anew, Seals{}, ""},
		"cut":               {cut, Seals{Records: now.Records}, "record 5 is missing: the file ends with record 4"},
		"rewritten":         {anew, Seals{Records: now.Records}, "the digest of record 5 differs from the one that you kept: it, or one before it, was rewritten"},
		"from the third":    {anew, Seals{Records: Seal{2, records[1].Digest}}, ""},
		"the third itself":  {anew, Seals{Records: Seal{3, records[2].Digest}}, "the digest of record 3 differs from the one that you kept: it, or one before it, was rewritten"},
		"lots cut":          {cut, Seals{Lots: now.Lots}, "lot 3 is missing: the file ends with lot 2"},
		"lots rewritten":    {anew, Seals{Lots: now.Lots}, "the digest of lot 3 differs from the one that you kept: it, or one before it, was rewritten"},
	} {
		_, bad, err := verifiedFile(t, c.path, c.kept)
		require.NoError(t, err, name)
		if c.want == "" {
			require.Nil(t, bad, name)
			continue
		}
		require.Equal(t, &Bad{Reason: c.want}, bad, name)
	}
	empty, _, _, none := write(0, 0, 0)
	require.Equal(t, Seals{}, none)
	_, bad, err := verifiedFile(t, empty, Seals{Records: now.Records})
	require.NoError(t, err)
	require.Equal(t, &Bad{Reason: "record 5 is missing: the file ends with record 0"}, bad)
}
