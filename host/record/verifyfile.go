package record

import (
	"context"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	sqlite3 "modernc.org/sqlite/lib"
)

// A Seal is how many rows a chain had, and the digest of the last. Kept where nobody
// who writes to the file can change it, it shows later that those rows are still the
// same. From the file alone that cannot be seen of a chain that was cut off at its
// end, or recomputed from some row on. Zero says nothing.
type Seal struct {
	Count  int64
	Digest string // hexadecimal
}

// Seals are a Seal of the records, and those of the lots and the photos, whose chains are
// their own.
type Seals struct{ Records, Lots, Photos Seal }

// Seals are those of the file as it is.
func (s *Store) Seals(ctx context.Context) (Seals, error) { return sealsOf(ctx, s.db) }

func sealsOf(ctx context.Context, q queryer) (now Seals, err error) {
	for _, c := range []struct {
		seal      *Seal
		statement string
	}{
		{&now.Records, "SELECT serial, digest FROM record ORDER BY serial DESC LIMIT 1"},
		{&now.Lots, "SELECT number, digest FROM lot ORDER BY number DESC LIMIT 1"},
		{&now.Photos, "SELECT number, digest FROM photo ORDER BY number DESC LIMIT 1"},
	} {
		err := q.QueryRowContext(ctx, c.statement).Scan(&c.seal.Count, &c.seal.Digest)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return now, damaged(err)
		}
	}
	return now, nil
}

// VerifyFile is Verify of a file that need not be sound enough to be opened, and of
// which nothing is written; what was kept of it elsewhere is compared. A file that
// nothing marks as one of records is refused (ErrForeign), and one of a later version
// (ErrNewer).
func VerifyFile(ctx context.Context, path string, kept Seals) (rows int, firstBad *Bad, err error) {
	if path, err = filepath.Abs(path); err != nil {
		return 0, nil, err
	}
	if err := stray(path); err != nil {
		return 0, nil, err
	}
	header := inspectHeader(path, migrations)
	switch {
	case errors.Is(header, ErrForeign) && markedOurs(path):
		return 0, &Bad{Reason: "its header is not that of a file of chipassay records"}, nil
	case errors.Is(header, ErrDamaged):
		return 0, badOf(header), nil
	case header != nil && !errors.Is(header, ErrNewer):
		return 0, nil, refused(path, header)
	}
	err = looking(path, func(_ context.Context, q queryer, _ int64) (err error) {
		if header != nil {
			if compareTables(ctx, q, migrations) != nil {
				return header
			}
			return &Bad{Reason: "its version is not the one of its tables"}
		}
		rows, err = verifyTables(ctx, q, kept)
		return err
	})
	switch {
	case errors.As(err, &firstBad):
		return rows, firstBad, nil
	case changed(err):
		return rows, badOf(err), nil
	}
	return rows, nil, refused(path, err)
}

// verifyTables is verify, with the tables and what was kept elsewhere. Its error is a
// *Bad where something was changed.
func verifyTables(ctx context.Context, q queryer, kept Seals) (rows int, err error) {
	version, err := userVersion(ctx, q)
	if err != nil {
		return 0, damaged(err)
	}
	if err := compareTables(ctx, q, migrations[:version]); err != nil {
		return 0, err
	}
	rows, bad, err := verify(ctx, q)
	if bad == nil && err == nil {
		bad, err = kept.check(ctx, q, version)
	}
	if bad != nil {
		return rows, bad
	}
	return rows, err
}

// check compares what was kept with what the file holds.
func (kept Seals) check(ctx context.Context, q queryer, version int) (*Bad, error) {
	for _, c := range []struct {
		what      string
		since     int // the version that first has them
		statement string
		Seal
	}{
		{"record", 1, "SELECT (SELECT coalesce(max(serial), 0) FROM record), coalesce((SELECT digest FROM record WHERE serial = ?), '')", kept.Records},
		{"lot", firstWithLots, "SELECT (SELECT coalesce(max(number), 0) FROM lot), coalesce((SELECT digest FROM lot WHERE number = ?), '')", kept.Lots},
		{"photo", firstWithPhotos, "SELECT (SELECT coalesce(max(number), 0) FROM photo), coalesce((SELECT digest FROM photo WHERE number = ?), '')", kept.Photos},
	} {
		var last int64
		var digest string
		if c.Count == 0 {
			continue
		}
		if version >= c.since {
			if err := q.QueryRowContext(ctx, c.statement, c.Count).Scan(&last, &digest); err != nil {
				return nil, damaged(err)
			}
		}
		switch {
		case last < c.Count:
			return &Bad{Reason: fmt.Sprintf("%s %d is missing: the file ends with %s %d", c.what, c.Count, c.what, last)}, nil
		case digest != c.Digest:
			return &Bad{Reason: fmt.Sprintf("the digest of %s %d differs from the one that you kept: it, or one before it, was rewritten", c.what, c.Count)}, nil
		}
	}
	return nil, nil
}

// markedOurs reports whether a file has one of the two marks that all files of records
// have: whoever changed one of them left the other.
func markedOurs(path string) bool {
	f, err := os.Open(path)
	if err != nil {
		return false
	}
	defer f.Close()
	header := make([]byte, headerSize)
	if _, err := io.ReadFull(f, header); err != nil {
		return false
	}
	return string(header[:len(magic)]) == magic || binary.BigEndian.Uint32(header[applicationIDAt:]) == applicationID
}

// changed reports whether an error of reading a whole file is for what is in it, and
// not for the disk, the rights or another program.
func changed(err error) bool {
	if errors.Is(err, ErrDamaged) {
		return true
	}
	code := sqliteCode(err)
	return code == sqlite3.SQLITE_ERROR || code == sqlite3.SQLITE_SCHEMA || code == sqlite3.SQLITE_MISMATCH || code == sqlite3.SQLITE_FORMAT
}
