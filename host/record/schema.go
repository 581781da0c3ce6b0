package record

import (
	"context"
	"database/sql"
	_ "embed"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"slices"
)

//go:embed schema.sql
var schema1 string

//go:embed schema5.sql
var schema5 string

// migrations lead from an empty file to the present version: the first n make
// version n, which is SQLite's user_version. A step is never changed once it
// was released; a new version is a new step.
var migrations = []string{schema1, schema2, schema3, schema4, schema5}

// applicationID marks the file as ours in SQLite's header: "chip".
const applicationID = 0x63686970

// SQLite's file header, https://www.sqlite.org/fileformat2.html section 1.3.
const (
	magic           = "SQLite format 3\x00"
	headerSize      = 100
	versionAt       = 60
	applicationIDAt = 68
)

// Of the checks at open: they are to take no longer than a person notices.
const (
	wholeCheck = 64 << 20 // bytes; a file up to this size has every page checked
	tailCheck  = 50       // rows at the end whose digests are computed again
)

// migrate applies the steps that the database lacks, all or none.
func migrate(ctx context.Context, db *sql.DB, steps []string) error {
	version, err := userVersion(ctx, db)
	if err != nil || version == len(steps) {
		return err
	}
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()                                            // no effect after the commit
	if version, err = userVersion(ctx, tx); version > len(steps) { // another program was here first
		return ErrNewer
	}
	if err != nil {
		return err
	}
	for i, step := range steps[version:] {
		if _, err := tx.ExecContext(ctx, step); err != nil {
			return fmt.Errorf("to version %d: %w", version+i+1, err)
		}
	}
	mark := fmt.Sprintf("PRAGMA application_id = %d; PRAGMA user_version = %d", applicationID, len(steps))
	if _, err := tx.ExecContext(ctx, mark); err != nil {
		return err
	}
	if err := tx.Commit(); err != nil {
		return err
	}
	// The header itself is to give the version, to programs that look no further.
	_, err = db.ExecContext(ctx, "PRAGMA wal_checkpoint(TRUNCATE)")
	return err
}

type queryer interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

func userVersion(ctx context.Context, q queryer) (version int, err error) {
	err = q.QueryRowContext(ctx, "PRAGMA user_version").Scan(&version)
	return version, err
}

// inspect looks at a file without writing to it, and says why it is refused.
func inspect(path string, steps []string) error {
	err := inspectHeader(path, steps)
	if err == nil {
		err = looking(path, func(ctx context.Context, q queryer, size int64) error { return inspectTables(ctx, q, size, steps) })
	}
	return refused(path, err)
}

// refused says that a file is refused, and what to do.
func refused(path string, err error) error {
	advice := ""
	switch {
	case err == nil:
		return nil
	case errors.Is(err, ErrForeign):
		advice = ": name another file"
	case errors.Is(err, ErrNewer):
		advice = ": update chipassay, or name another file"
	case errors.Is(err, ErrDamaged):
		advice = ": keep it, and restore a backup under another name"
	}
	return fmt.Errorf("records file %s %w%s", path, err, advice)
}

func inspectHeader(path string, steps []string) error {
	f, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("cannot be read: %w", err)
	}
	defer f.Close()
	state, err := f.Stat()
	if err != nil {
		return fmt.Errorf("cannot be read: %w", err)
	}
	if !state.Mode().IsRegular() {
		return ErrForeign
	}
	header := make([]byte, headerSize)
	n, err := io.ReadFull(f, header)
	switch {
	case n == 0:
		return fmt.Errorf("%w: it is empty", ErrDamaged)
	case string(header[:min(n, len(magic))]) != magic[:min(n, len(magic))]:
		return ErrForeign
	case n < headerSize:
		return fmt.Errorf("%w: it ends after %d bytes", ErrDamaged, n)
	case err != nil:
		return fmt.Errorf("cannot be read: %w", err)
	}
	if binary.BigEndian.Uint32(header[applicationIDAt:]) != applicationID {
		return ErrForeign
	}
	if v := binary.BigEndian.Uint32(header[versionAt:]); v == 0 || v > uint32(len(steps)) {
		return fmt.Errorf("%w (version %d, this one knows %d)", ErrNewer, v, len(steps))
	}
	return nil
}

// looking has a file looked at without writing to it. Only where there is a log
// of writes, and so perhaps another program, are locks and the log used; and a
// file that changed meanwhile is looked at again. Size is the file's, or 0.
func looking(path string, look func(ctx context.Context, q queryer, size int64) error) error {
	for range 3 {
		before, err := os.Stat(path)
		if err != nil {
			return err
		}
		mode := untouched
		if hasLog(path) {
			mode = readOnly
		}
		err = lookingBy(path, mode, before.Size(), look)
		if err == nil || mode == readOnly {
			return err
		}
		after, statErr := os.Stat(path)
		if !hasLog(path) && statErr == nil && after.Size() == before.Size() && after.ModTime().Equal(before.ModTime()) {
			return err
		}
	}
	return lookingBy(path, readOnly, 0, look)
}

// hasLog reports whether a file has a log of writes. One of no bytes holds none: it stays
// behind where there was no room for a first.
func hasLog(path string) bool {
	log, err := os.Stat(path + "-wal")
	return err == nil && log.Size() > 0
}

func lookingBy(path, mode string, size int64, look func(context.Context, queryer, int64) error) error {
	db, err := connect(path, mode)
	if err != nil {
		return err
	}
	defer db.Close()
	ctx := context.Background()
	tx, err := db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true}) // another program may be writing
	if err != nil {
		return damaged(err)
	}
	defer tx.Rollback()
	return look(ctx, tx, size)
}

func inspectTables(ctx context.Context, q queryer, size int64, steps []string) error {
	version, err := userVersion(ctx, q)
	if err != nil {
		return damaged(err)
	}
	if version > len(steps) {
		return fmt.Errorf("%w (version %d, this one knows %d)", ErrNewer, version, len(steps))
	}
	if err := compareTables(ctx, q, steps[:version]); err != nil {
		return err
	}
	if size <= wholeCheck {
		if err := checkPages(ctx, q, "quick_check"); err != nil {
			return err
		}
	}
	return checkTail(ctx, q)
}

// checkPages checks every page: quick_check, or integrity_check, which compares the
// indexes with the rows too.
func checkPages(ctx context.Context, q queryer, check string) error {
	var result string
	if err := q.QueryRowContext(ctx, "PRAGMA "+check+"(1)").Scan(&result); err != nil {
		return damaged(err)
	}
	if result != "ok" {
		return fmt.Errorf("%w: %s", ErrDamaged, oneLine(result))
	}
	return nil
}

// compareTables compares tables, indexes and triggers with those of a new
// database of the same version.
func compareTables(ctx context.Context, q queryer, steps []string) error {
	fresh, err := sql.Open("sqlite", ":memory:")
	if err != nil {
		return err
	}
	defer fresh.Close()
	fresh.SetMaxOpenConns(1) // each connection would have a memory of its own
	for _, step := range steps {
		if _, err := fresh.ExecContext(ctx, step); err != nil {
			return err
		}
	}
	want, err := tables(ctx, fresh)
	if err != nil {
		return err
	}
	have, err := tables(ctx, q)
	if err != nil {
		return damaged(err)
	}
	for _, name := range slices.Sorted(maps.Keys(want)) {
		if have[name] != want[name] {
			return fmt.Errorf("%w: %s is missing or was changed", ErrDamaged, name)
		}
	}
	for _, name := range slices.Sorted(maps.Keys(have)) {
		if _, ok := want[name]; !ok {
			return fmt.Errorf("%w: %s is not part of the file", ErrDamaged, name)
		}
	}
	return nil
}

// tables are the statements that made everything in a database, by name.
func tables(ctx context.Context, q queryer) (map[string]string, error) {
	rows, err := q.QueryContext(ctx, `SELECT type || ' ' || name, coalesce(sql, '') FROM sqlite_schema WHERE name NOT LIKE 'sqlite\_%' ESCAPE '\'`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	made := map[string]string{}
	for rows.Next() {
		var name, statement string
		if err := rows.Scan(&name, &statement); err != nil {
			return nil, err
		}
		made[name] = statement
	}
	return made, rows.Err()
}
