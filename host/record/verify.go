package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// A Bad is the first thing in a file that is not as it was written.
type Bad struct {
	Serial int64 // of the record, or 0 where it is no single one
	Reason string
}

func (b Bad) String() string {
	if b.Serial == 0 {
		return b.Reason
	}
	return fmt.Sprintf("record %d %s", b.Serial, b.Reason)
}

// Error is what a Bad says, for where it travels as one.
func (b Bad) Error() string { return b.String() }

// badOf is what an ErrDamaged says.
func badOf(err error) *Bad {
	return &Bad{Reason: strings.TrimPrefix(oneLine(err.Error()), ErrDamaged.Error()+": ")}
}

// Verify reads every page and computes every digest again, and says how many
// records are as they were written, and what is wrong first, or nil. The error
// is that of reading. It looks at the file as it was when it began.
func (s *Store) Verify(ctx context.Context) (rows int, firstBad *Bad, err error) {
	tx, err := s.db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true, Isolation: s.snapshot()})
	if err != nil {
		return 0, nil, err
	}
	defer tx.Rollback()
	if s.remote != nil {
		return verifyRows(ctx, tx)
	}
	return verify(ctx, tx)
}

func verify(ctx context.Context, q queryer) (rows int, firstBad *Bad, err error) {
	if err := checkPages(ctx, q, "integrity_check"); errors.Is(err, ErrDamaged) {
		return 0, badOf(err), nil
	} else if err != nil {
		return 0, nil, err
	}
	return verifyRows(ctx, q)
}

func verifyRows(ctx context.Context, q queryer) (rows int, firstBad *Bad, err error) {
	rows, firstBad, err = checkChain(ctx, q, beforeAll)
	for _, check := range []func(context.Context, queryer) (*Bad, error){checkReports, checkTally, checkLots, checkPhotos} {
		if firstBad == nil && err == nil {
			firstBad, err = check(ctx, q)
		}
	}
	return rows, firstBad, err
}

// snapshot is the isolation by which a transaction sees one state only: SQLite's always does.
func (s *Store) snapshot() sql.IsolationLevel {
	if s.remote != nil {
		return sql.LevelRepeatableRead
	}
	return sql.LevelDefault
}

// beforeAll is the serial number after which all rows are, also such as never get one.
const beforeAll = math.MinInt64

// checkChain computes the digests of the records after a serial number.
func checkChain(ctx context.Context, q queryer, after int64) (rows int, bad *Bad, err error) {
	serial, digest := max(after, 0), ""
	if after > 0 {
		if err := q.QueryRowContext(ctx, "SELECT digest FROM record WHERE serial = ?", after).Scan(&digest); err != nil {
			return 0, nil, damaged(err)
		}
	}
	statement := "SELECT " + wholeRow + " FROM " + withReport + " WHERE record.serial > ? ORDER BY record.serial"
	for r, err := range read(ctx, q, statement, after) {
		serial++
		switch {
		case ctx.Err() != nil:
			return rows, nil, ctx.Err()
		case err != nil && errors.Is(err, ErrDamaged):
			return rows, &Bad{serial, err.Error()}, nil
		case err != nil:
			return rows, &Bad{serial, "cannot be read: " + err.Error()}, nil
		case r.Serial < serial:
			return rows, &Bad{r.Serial, "is not part of the file"}, nil
		case r.Serial != serial:
			return rows, &Bad{serial, "is missing"}, nil
		case r.Previous != digest:
			return rows, &Bad{serial, "does not follow the record before it"}, nil
		case r.Sum() != r.Digest:
			return rows, &Bad{serial, "was changed after it was written"}, nil
		}
		digest = r.Digest
		rows++
	}
	return rows, nil, nil
}

// checkReports looks for reports of which there is no record; those of records are in
// their digests.
func checkReports(ctx context.Context, q queryer) (*Bad, error) {
	list, err := serials(ctx, q, "SELECT serial FROM report WHERE serial NOT IN (SELECT serial FROM record) LIMIT 1")
	if err == nil && len(list) > 0 {
		return &Bad{Reason: fmt.Sprintf("there is a report of record %d, and no such record", list[0])}, nil
	}
	return nil, err
}

// checkTail is checkChain of the last rows.
func checkTail(ctx context.Context, q queryer) error {
	var last int64
	if err := q.QueryRowContext(ctx, "SELECT coalesce(max(serial), 0) FROM record").Scan(&last); err != nil {
		return damaged(err)
	}
	_, bad, err := checkChain(ctx, q, max(0, last-tailCheck))
	if bad != nil {
		return fmt.Errorf("%w: %s", ErrDamaged, bad)
	}
	return err
}

// checkTally compares what follows from the records with what is kept of it.
func checkTally(ctx context.Context, q queryer) (*Bad, error) {
	replaced, err := serials(ctx, q, "SELECT serial FROM replaced ORDER BY serial")
	if err != nil {
		return nil, err
	}
	chips, err := serials(ctx, q, "SELECT DISTINCT chip FROM record WHERE chip <> serial")
	if err != nil {
		return nil, err
	}
	var want []int64
	for _, chip := range chips {
		rows, err := history(ctx, q, chip)
		if err != nil {
			return nil, err
		}
		current := Current(rows)
		for _, r := range rows {
			if current == nil || r.Serial != current.Serial {
				want = append(want, r.Serial)
			}
		}
	}
	slices.Sort(want)
	if !slices.Equal(want, replaced) {
		return &Bad{Reason: "the index of current records does not match the records"}, nil
	}
	const counted = "SELECT " + tallyKey + ", count(*) FROM record WHERE serial NOT IN (SELECT serial FROM replaced) GROUP BY " + tallyKey
	const kept = "SELECT " + tallyKey + ", n FROM tally WHERE n <> 0"
	var differ int
	err = q.QueryRowContext(ctx, "SELECT (SELECT count(*) FROM ("+counted+" EXCEPT "+kept+") AS more) + (SELECT count(*) FROM ("+kept+" EXCEPT "+counted+") AS less)").Scan(&differ)
	if err == nil && differ > 0 {
		return &Bad{Reason: "the stock counts do not match the records"}, nil
	}
	return nil, damaged(err)
}

func serials(ctx context.Context, q queryer, statement string) (list []int64, err error) {
	rows, err := q.QueryContext(ctx, statement)
	if err != nil {
		return nil, damaged(err)
	}
	defer rows.Close()
	for rows.Next() {
		var n int64
		if err := rows.Scan(&n); err != nil {
			return nil, err
		}
		list = append(list, n)
	}
	return list, damaged(rows.Err())
}

// damaged marks the errors by which SQLite says that a file is torn.
func damaged(err error) error {
	if code := sqliteCode(err); code == sqlite3.SQLITE_CORRUPT || code == sqlite3.SQLITE_NOTADB {
		return fmt.Errorf("%w: %w", ErrDamaged, err)
	}
	return err
}

// NoRoom reports whether an error is for a disk that takes no more of the records. What was
// written before is kept.
func NoRoom(err error) bool {
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return false
	}
	switch e.Code() {
	case sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR_WRITE, sqlite3.SQLITE_IOERR_FSYNC, sqlite3.SQLITE_IOERR_TRUNCATE,
		sqlite3.SQLITE_IOERR_SHMSIZE, sqlite3.SQLITE_IOERR_DIR_FSYNC:
		return true
	}
	return false
}

// sqliteCode is SQLite's primary result code, or 0 where the error is no such.
func sqliteCode(err error) int {
	var e *sqlite.Error
	if errors.As(err, &e) {
		return e.Code() & 0xff
	}
	return 0
}
