package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"time"

	"chipassay/host/verdict"
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
	case s.remote != nil && s.bench != "":
		return fmt.Errorf("%w: these are of bench %s", ErrRemote, s.bench)
	case s.remote != nil:
		return fmt.Errorf("%w, and this computer is none", ErrRemote)
	}
	if s.outlet == nil {
		return s.writeHere(ctx, rows)
	}
	if err := s.oneChain(ctx); err != nil {
		return err
	}
	if err := s.writeHere(ctx, rows); err != nil {
		return err
	}
	s.handedSoon(ctx)
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
	if err := w.close(ctx); err != nil {
		return err
	}
	return tx.Commit()
}

// A writer appends rows within a transaction.
type writer struct {
	tx       *sql.Tx
	sends    *sending             // to a server, or nil
	prepared map[string]*sql.Stmt // by their text
	counted  map[tallyRow]int     // what close adds to the tally
	last     int64                // serial number of the last row
	digest   string               // its digest
}

func newWriter(ctx context.Context, tx *sql.Tx) (*writer, error) {
	w := &writer{tx: tx, prepared: map[string]*sql.Stmt{}, counted: map[tallyRow]int{}}
	err := tx.QueryRowContext(ctx, "SELECT serial, digest FROM record ORDER BY serial DESC LIMIT 1").Scan(&w.last, &w.digest)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return nil, err
	}
	return w, nil
}

// exec executes a statement that adds rows, on a server at the next send.
func (w *writer) exec(ctx context.Context, statement string, args ...any) (err error) {
	if w.sends != nil {
		w.sends.add(statement, args)
		return nil
	}
	p := w.prepared[statement]
	if p == nil {
		if p, err = w.tx.PrepareContext(ctx, statement); err != nil {
			return err
		}
		w.prepared[statement] = p
	}
	_, err = p.ExecContext(ctx, args...)
	return err
}

// send has the server execute what it was not sent yet, which a query is to see.
func (w *writer) send(ctx context.Context) error {
	if w.sends == nil {
		return nil
	}
	return w.sends.send(ctx)
}

// close completes what was written, before the commit.
func (w *writer) close(ctx context.Context) error {
	for row, n := range w.counted {
		if n == 0 {
			continue
		}
		if err := w.exec(ctx, addToTally, row.drawer, row.part, row.typ, row.family, row.year, row.lot, string(row.verdict), string(row.grade), n); err != nil {
			return err
		}
	}
	clear(w.counted)
	return w.send(ctx)
}

// What a writer executes.
var (
	addRecord  = "INSERT INTO record (" + names(narrow) + ") VALUES (?" + strings.Repeat(", ?", len(narrow)-1) + ")"
	addToTally = "INSERT INTO tally (" + tallyKey + ", n) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT DO UPDATE SET n = n + excluded.n"
)

const (
	addReport   = "INSERT INTO report (serial, report) VALUES (?, ?)"
	addReplaced = "INSERT INTO replaced (serial) VALUES (?)"
)

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
	if err := w.exec(ctx, addRecord, values...); err != nil {
		return err
	}
	if len(r.Report) > 0 {
		report := any(string(r.Report))
		if w.sends != nil { // where it is bytes: in a text of bytes a backslash is none
			report = r.Report
		}
		if err := w.exec(ctx, addReport, r.Serial, report); err != nil {
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
	if err := w.send(ctx); err != nil {
		return nil, err
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
		if err := w.exec(ctx, addReplaced, r.Serial); err != nil {
			return err
		}
	}
	if old != nil {
		if err := w.exec(ctx, addReplaced, old.Serial); err != nil {
			return err
		}
		w.count(old, -1)
	}
	if now != nil {
		if now.Serial != r.Serial {
			if err := w.exec(ctx, "DELETE FROM replaced WHERE serial = ?", now.Serial); err != nil {
				return err
			}
		}
		w.count(now, 1)
	}
	return nil
}

// tallyKey are the columns by which chips are counted.
const tallyKey = "drawer, part, type, family, date_year, lot, verdict, grade"

type tallyRow struct {
	drawer, part, typ, family string
	year                      int
	lot                       string
	verdict                   verdict.Verdict
	grade                     verdict.Grade
}

func (w *writer) count(r *Record, n int) {
	w.counted[tallyRow{r.Drawer, r.Part, r.Type, r.Family, r.Year, r.Lot, r.Verdict, r.Grade}] += n
}
