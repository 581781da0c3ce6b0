package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"time"
)

// ErrRemote is the error for a row that is to be added to a bench's records anywhere but at that bench:
// its own file is the one place where its numbers are given.
var ErrRemote = errors.New("records are added at their own bench")

// ErrNotCurrent is the error for a correction or void of a row that another
// already replaced.
var ErrNotCurrent = errors.New("it was replaced: name the record that replaced it")

// Append adds a record and gives it back with its serial number and digests. It
// returns when the record is on the disk. A program that is being interrupted
// gives it a context that is not (context.WithoutCancel).
//
// A retest (RetestOf) and a correction (Corrects) replace the row
// that was current for the chip; a void brings back the one before.
func (s *Store) Append(ctx context.Context, r Record) (Record, error) {
	r.ImportedSerial, r.ImportedDigest = 0, ""
	if r.Time.IsZero() {
		r.Time = time.Now()
	}
	err := s.write(ctx, func(w *writer) (err error) {
		r, err = w.append(ctx, r)
		return err
	})
	if err != nil {
		return Record{}, fmt.Errorf("append to records: %w", err)
	}
	r.Bench = s.bench
	return r, nil
}

// write has rows appended in one transaction, alone among all programs: all
// of them are then on disk, or none.
func (s *Store) write(ctx context.Context, rows func(*writer) error) error {
	switch {
	case s.own != nil:
		return s.own.write(ctx, rows)
	case s.remote != nil:
		return fmt.Errorf("%w: %s", ErrRemote, s.path)
	}
	if err := s.writeHere(ctx, rows); err != nil {
		return err
	}
	if s.outlet != nil {
		s.handedSoon(ctx)
	}
	return nil
}

func (s *Store) writeHere(ctx context.Context, rows func(*writer) error) error {
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback() // no effect after the commit
	w, err := newWriter(ctx, tx)
	if err != nil {
		return err
	}
	if err := rows(w); err != nil {
		return err
	}
	return tx.Commit()
}

// A writer appends rows within a transaction.
type writer struct {
	tx             *sql.Tx
	record, report *sql.Stmt
	tally          *sql.Stmt
	last           int64  // serial number of the last row
	digest         string // its digest
}

func newWriter(ctx context.Context, tx *sql.Tx) (*writer, error) {
	w := &writer{tx: tx}
	err := tx.QueryRowContext(ctx, "SELECT serial, digest FROM record ORDER BY serial DESC LIMIT 1").Scan(&w.last, &w.digest)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return nil, err
	}
	for _, p := range []struct {
		statement **sql.Stmt
		text      string
	}{
		{&w.record, "INSERT INTO record (" + names(narrow) + ") VALUES (?" + strings.Repeat(", ?", len(narrow)-1) + ")"},
		{&w.report, "INSERT INTO report (serial, report) VALUES (?, ?)"},
		{&w.tally, "INSERT INTO tally (" + tallyKey + ", n) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT DO UPDATE SET n = n + excluded.n"},
	} {
		if *p.statement, err = tx.PrepareContext(ctx, p.text); err != nil {
			return nil, err
		}
	}
	return w, nil
}

func (w *writer) append(ctx context.Context, r Record) (Record, error) {
	r.Serial, r.Previous = w.last+1, w.digest
	if err := r.check(); err != nil {
		return r, err
	}
	before, err := w.before(ctx, &r)
	if err != nil {
		return r, err
	}
	r.Digest = r.Sum()
	return r, w.keep(ctx, before, &r)
}

// keep adds a row that is complete, with what follows from it.
func (w *writer) keep(ctx context.Context, before []Record, r *Record) error {
	values := make([]any, len(narrow))
	for i, c := range narrow {
		values[i] = c.value(r)
	}
	if _, err := w.record.ExecContext(ctx, values...); err != nil {
		return err
	}
	if len(r.Report) > 0 {
		if _, err := w.report.ExecContext(ctx, r.Serial, string(r.Report)); err != nil {
			return err
		}
	}
	w.last, w.digest = r.Serial, r.Digest
	return w.replace(ctx, before, r)
}

// before is the history of the chip that a row is about, and completes the row
// by it.
func (w *writer) before(ctx context.Context, r *Record) ([]Record, error) {
	target := r.RetestOf + r.Corrects // one of them is 0
	if target == 0 {
		r.Chip = r.Serial
		return nil, nil
	}
	rows, err := history(ctx, w.tx, target)
	if err != nil {
		return nil, err
	}
	r.Chip = rows[0].Serial
	if r.Kind == Test {
		r.RetestOf = r.Chip
		return rows, nil
	}
	if c := Current(rows); c == nil || c.Serial != r.Corrects {
		return nil, fmt.Errorf("record %d: %w", r.Corrects, ErrNotCurrent)
	}
	return rows, nil
}

// replace notes which row is current for the chip now, and counts it.
func (w *writer) replace(ctx context.Context, before []Record, r *Record) error {
	old := Current(before)
	now := Current(append(before[:len(before):len(before)], *r))
	if r.Kind == Void {
		if err := w.exec(ctx, "INSERT INTO replaced (serial) VALUES (?)", r.Serial); err != nil {
			return err
		}
	}
	if old != nil {
		if err := w.exec(ctx, "INSERT INTO replaced (serial) VALUES (?)", old.Serial); err != nil {
			return err
		}
		if err := w.count(ctx, old, -1); err != nil {
			return err
		}
	}
	if now != nil {
		if now.Serial != r.Serial {
			if err := w.exec(ctx, "DELETE FROM replaced WHERE serial = ?", now.Serial); err != nil {
				return err
			}
		}
		return w.count(ctx, now, 1)
	}
	return nil
}

func (w *writer) exec(ctx context.Context, statement string, serial int64) error {
	_, err := w.tx.ExecContext(ctx, statement, serial)
	return err
}

// tallyKey are the columns by which chips are counted.
const tallyKey = "drawer, part, type, family, date_year, lot, verdict, grade"

func (w *writer) count(ctx context.Context, r *Record, n int) error {
	_, err := w.tally.ExecContext(ctx, r.Drawer, r.Part, r.Type, r.Family, r.Year, r.Lot, r.Verdict, r.Grade, n)
	return err
}
