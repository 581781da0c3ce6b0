package record

import (
	"bytes"
	"database/sql"
	"encoding/binary"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
)

// filled is the path of a closed file of 60 records, and its bytes.
func filled(t *testing.T) (string, []byte) {
	s := newStore(t)
	for range 60 {
		appended(t, s, nand())
	}
	require.NoError(t, s.Close())
	file, err := os.ReadFile(s.Path())
	require.NoError(t, err)
	return s.Path(), file
}

func TestFilesThatAreRefused(t *testing.T) {
	_, whole := filled(t)
	ours := func(change func(b []byte) []byte) []byte { return change(append([]byte{}, whole...)) }
	for name, c := range map[string]struct {
		bytes []byte
		err   error
		words string
	}{
		"empty":              {nil, ErrDamaged, "is damaged: it is empty: keep it, and restore a backup under another name"},
		"a text":             {[]byte("D3: 74LS10, 14 pieces"), ErrForeign, "is not a file of chipassay records: name another file"},
		"cut in the header":  {whole[:60], ErrDamaged, "it ends after 60 bytes"},
		"cut in the magic":   {whole[:7], ErrDamaged, "it ends after 7 bytes"},
		"cut after page one": {whole[:8192], ErrDamaged, "is damaged"},
		"without its end":    {whole[:len(whole)-8192], ErrDamaged, "is damaged"},
		"cut in a page":      {whole[:len(whole)-100], ErrDamaged, "is damaged"},
		"a page of zeros": {ours(func(b []byte) []byte {
			clear(b[len(b)/2/8192*8192:][:8192])
			return b
		}), ErrDamaged, "is damaged"},
		"another program's": {ours(func(b []byte) []byte {
			binary.BigEndian.PutUint32(b[68:], 0)
			return b
		}), ErrForeign, "name another file"},
		"a later version's": {ours(func(b []byte) []byte {
			binary.BigEndian.PutUint32(b[60:], 99)
			return b
		}), ErrNewer, "was written by a later chipassay (version 99, this one knows 5): update chipassay, or name another file"},
	} {
		path := filepath.Join(t.TempDir(), "records.sqlite")
		require.NoError(t, os.WriteFile(path, c.bytes, 0o600))
		_, err := Open(path)
		require.ErrorIs(t, err, c.err, name)
		require.ErrorContains(t, err, c.words, name)
		require.NotContains(t, err.Error(), "\n", name)
		after, err := os.ReadFile(path)
		require.NoError(t, err)
		require.Equal(t, len(c.bytes), len(after), name)
		require.Equal(t, string(c.bytes), string(after), name)
		beside, err := os.ReadDir(filepath.Dir(path))
		require.NoError(t, err)
		require.Len(t, beside, 1, name)
	}
}

func TestOtherSQLiteFilesAndFoldersAreRefused(t *testing.T) {
	path := filepath.Join(t.TempDir(), "timetable.sqlite")
	db, err := sql.Open("sqlite", path)
	require.NoError(t, err)
	_, err = db.Exec("CREATE TABLE tram (line INTEGER)")
	require.NoError(t, err)
	require.NoError(t, db.Close())
	for _, p := range []string{path, filepath.Dir(path)} {
		_, err = Open(p)
		require.ErrorIs(t, err, ErrForeign)
	}
}

func TestChangedTablesAreRefused(t *testing.T) {
	for statement, words := range map[string]string{
		"DROP TRIGGER record_no_update": "trigger record_no_update is missing or was changed",
		"CREATE TABLE price (x)":        "table price is not part of the file",
		"DROP INDEX record_part":        "index record_part is missing or was changed",
	} {
		path, _ := filled(t)
		db, err := connect(path, readWrite)
		require.NoError(t, err)
		_, err = db.Exec(statement)
		require.NoError(t, err)
		require.NoError(t, db.Close())
		_, err = Open(path)
		require.ErrorIs(t, err, ErrDamaged)
		require.ErrorContains(t, err, words)
	}
}

// A log of writes whose file is gone must not be taken up by a new file.
func TestStrayLogIsRefused(t *testing.T) {
	path := filepath.Join(t.TempDir(), "records.sqlite")
	require.NoError(t, os.WriteFile(path+"-wal", []byte("writes"), 0o600))
	_, err := Open(path)
	require.ErrorContains(t, err, "put the file back, or move the other away")
	require.NoFileExists(t, path)
}

func TestMigration(t *testing.T) {
	steps := append(slices.Clip(migrations), "ALTER TABLE record ADD COLUMN shelf TEXT NOT NULL DEFAULT ''; CREATE INDEX record_shelf ON record (shelf)")
	path, _ := filled(t)
	s, err := open(path, steps)
	require.NoError(t, err)
	version, err := userVersion(t.Context(), s.db)
	require.NoError(t, err)
	require.Equal(t, len(migrations)+1, version)
	verified(t, s, 60)

	// While the newer program has it open, and after, the older one refuses it.
	_, err = Open(path)
	require.ErrorIs(t, err, ErrNewer)
	require.NoError(t, s.Close())
	_, err = Open(path)
	require.ErrorIs(t, err, ErrNewer)

	s, err = open(path, steps)
	require.NoError(t, err)
	require.NoError(t, s.Close())

	// A step that fails leaves the version that was.
	_, err = open(path, append(steps, "CREATE TABLE half (x); CREATE TABLE half (x)"))
	require.ErrorContains(t, err, "to version 7")
	s, err = open(path, steps)
	require.NoError(t, err)
	verified(t, s, 60)
	require.NoError(t, s.Close())
}

// Section 1.3 of https://www.sqlite.org/fileformat2.html, from memory: what the
// file is can be read from its header alone.
func TestHeader(t *testing.T) {
	_, b := filled(t)
	require.Equal(t, "SQLite format 3\x00", string(b[:16]))
	require.Equal(t, []byte{2, 2}, b[18:20]) // WAL, to write and to read
	require.Equal(t, []byte{0, 0, 0, 5}, b[60:64])
	require.Equal(t, "chip", string(b[68:72]))
}

func TestDefaultPath(t *testing.T) {
	t.Setenv("XDG_DATA_HOME", t.TempDir())
	t.Setenv("LocalAppData", t.TempDir())
	t.Setenv("HOME", t.TempDir())
	path, err := DefaultPath()
	require.NoError(t, err)
	s, err := Open(path)
	require.NoError(t, err)
	require.NoError(t, s.Close())
	require.Equal(t, filepath.Join("chipassay", "records.sqlite"), filepath.Join(filepath.Base(filepath.Dir(path)), filepath.Base(path)))
}

func TestPathsOfAnyName(t *testing.T) {
	for _, name := range []string{"drawer 3.sqlite", "50% good?.sqlite", "a#b&mode=ro.sqlite", "Straßenbahn.sqlite"} {
		path := filepath.Join(t.TempDir(), name)
		for range 2 {
			s, err := Open(path)
			require.NoError(t, err, name)
			appended(t, s, nand())
			require.NoError(t, s.Close())
		}
		require.FileExists(t, path)
	}
}

func TestBackupAndRestore(t *testing.T) {
	s := newStore(t)
	for range 3 {
		appended(t, s, nand())
	}
	backup := filepath.Join(t.TempDir(), "backup.sqlite")
	require.NoError(t, s.Backup(t.Context(), backup))
	appended(t, s, nand())
	require.ErrorIs(t, s.Backup(t.Context(), backup), os.ErrExist)
	require.ErrorIs(t, Restore(t.Context(), backup, s.Path()), os.ErrExist)
	verified(t, s, 4)

	before, err := os.ReadFile(backup)
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "records.sqlite")
	require.NoError(t, Restore(t.Context(), backup, path))
	after, err := os.ReadFile(backup)
	require.NoError(t, err)
	require.Equal(t, string(before), string(after))
	restored, err := Open(path)
	require.NoError(t, err)
	defer restored.Close()
	verified(t, restored, 3)
	require.Equal(t, appended(t, restored, nand()).Digest, mustGet(t, s, 4).Digest)

}

// A word changed far from the end passes the quick checks at open; a restore
// and Verify look at all.
func TestRestoreVerifiesTheBackup(t *testing.T) {
	s := newStore(t)
	r := nand()
	r.Note = "first of the bag"
	appended(t, s, r)
	for range tailCheck {
		appended(t, s, nand())
	}
	backup := filepath.Join(t.TempDir(), "backup.sqlite")
	require.NoError(t, s.Backup(t.Context(), backup))
	file, err := os.ReadFile(backup)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(backup, bytes.ReplaceAll(file, []byte(r.Note), []byte("First of the bag")), 0o600))

	path := filepath.Join(t.TempDir(), "records.sqlite")
	err = Restore(t.Context(), backup, path)
	require.ErrorIs(t, err, ErrDamaged)
	require.ErrorContains(t, err, "record 1 was changed after it was written")
	require.NoFileExists(t, path)

	changed, err := Open(backup)
	require.NoError(t, err)
	defer changed.Close()
	_, bad, err := changed.Verify(t.Context())
	require.NoError(t, err)
	require.Equal(t, &Bad{1, "was changed after it was written"}, bad)
}

func mustGet(t *testing.T, s *Store, serial int64) Record {
	r, err := s.Get(t.Context(), serial)
	require.NoError(t, err)
	return r
}
