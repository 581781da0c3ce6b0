package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// MoveToServer takes a file of records into a server as those of a bench, with numbers and digests unchanged.
// The file is copied to own, the bench's own file from then on, and handed over; it stays itself as it is. What was
// begun and cut off goes on when it is called again.
func MoveToServer(ctx context.Context, file, address, letter, own string) (s *Store, err error) {
	if file, err = filepath.Abs(file); err != nil {
		return nil, err
	}
	if err := inspect(file, migrations); err != nil {
		return nil, err
	}
	if _, err := os.Stat(own); errors.Is(err, fs.ErrNotExist) {
		if err := Restore(ctx, file, own); err != nil { // verified, and never over a file
			return nil, err
		}
		defer func() {
			if err != nil {
				err = errors.Join(err, removeLetterless(ctx, own)) // a copy that is in the way of the right one
			}
		}()
	} else if same, err := sameHead(ctx, file, own); err != nil {
		return nil, err
	} else if !same {
		return nil, fmt.Errorf("%s is there already, with other records: a computer has one bench", own)
	}
	if s, err = OpenBench(ctx, address, letter, own); err != nil {
		return nil, err
	}
	if err := s.HandOver(ctx); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}

// removeLetterless removes a file that is no bench's.
func removeLetterless(ctx context.Context, path string) error {
	s, err := Open(path)
	if err != nil {
		return err
	}
	b, err := s.benchRow(ctx)
	if err := errors.Join(err, s.Close()); err != nil || b.letter != "" {
		return err
	}
	return os.Remove(path)
}

// sameHead reports whether two files end with the same rows.
func sameHead(ctx context.Context, a, b string) (same bool, err error) {
	var heads [2]Seals
	for i, path := range []string{a, b} {
		s, err := Open(path)
		if err != nil {
			return false, err
		}
		heads[i], err = s.Seals(ctx)
		if err := errors.Join(err, s.Close()); err != nil {
			return false, err
		}
	}
	return heads[0] == heads[1], nil
}

// CopyBench writes a bench's records as the server has them into a new file, with numbers and digests
// unchanged. The file can be the bench's own from then on. It never writes over a file (fs.ErrExist).
func (s *Server) CopyBench(ctx context.Context, letter, path string) (rows int64, err error) {
	if path, err = filepath.Abs(path); err != nil {
		return 0, err
	}
	if err := stray(path); err != nil {
		return 0, err
	}
	of, err := s.Of(ctx, letter)
	if err != nil {
		return 0, err
	}
	tx, err := of.db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true, Isolation: of.snapshot()})
	if err != nil {
		return 0, s.explain(err)
	}
	defer tx.Rollback()
	err = place(path, func(temporary string) error {
		rows, err = s.writeFile(ctx, tx, letter, temporary)
		return err
	})
	switch {
	case errors.Is(err, fs.ErrExist):
		return 0, fmt.Errorf("%s is there already and is left as it is: name another file: %w", path, fs.ErrExist)
	case err != nil:
		return 0, fmt.Errorf("copy bench %s into %s: %w", letter, path, s.explain(err))
	}
	return rows, nil
}

func (s *Server) writeFile(ctx context.Context, tx *sql.Tx, letter, path string) (rows int64, err error) {
	db, err := connect(path, makeNew)
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	if err := prepare(db, migrations); err != nil {
		return 0, err
	}
	b := benchRow{letter: letter, server: s.set}
	if err := tx.QueryRowContext(ctx, "SELECT id FROM chipassay.bench WHERE letter = ?", letter).Scan(&b.id); err != nil {
		return 0, err
	}
	if err := (&Store{db: db}).setBench(ctx, b); err != nil {
		return 0, err
	}
	until, err := sealsOf(ctx, tx)
	if err != nil {
		return 0, err
	}
	if _, err := db.ExecContext(ctx, "PRAGMA synchronous = OFF"); err != nil { // it is synced when it is whole
		return 0, err
	}
	now, err := carry(ctx, tx, db, until, func(context.Context, *sql.Tx) error { return nil })
	if err == nil && now != until {
		err = errors.New("not all rows were copied")
	}
	return now.Records.Count, err
}

// Backup writes a checked copy of each bench's records to a new file: of NAME.sqlite, NAME-A.sqlite for bench
// A. It gives their names.
func (s *Server) Backup(ctx context.Context, path string) (files []string, err error) {
	benches, err := s.Benches(ctx)
	if err != nil {
		return nil, err
	}
	if len(benches) == 0 {
		return nil, fmt.Errorf("there are no records on %s yet", s.address)
	}
	end := filepath.Ext(path)
	for _, letter := range benches {
		name := strings.TrimSuffix(path, end) + "-" + letter + end
		if _, err := s.CopyBench(ctx, letter, name); err != nil {
			return files, err
		}
		files = append(files, name)
	}
	return files, nil
}

// Restore takes a bench's backup into the server, with numbers and digests unchanged. A bench that is there
// already only gets the rows that it lacks; one whose rows differ is refused (ErrDiverged). The letter
// is needed for a file that was no bench's.
func (s *Server) Restore(ctx context.Context, backup, letter string) (bench string, rows int64, err error) {
	if backup, err = filepath.Abs(backup); err != nil {
		return "", 0, err
	}
	if err := inspect(backup, migrations); err != nil {
		return "", 0, err
	}
	// A copy, for a backup is not changed, and is brought to the present version.
	dir, err := os.MkdirTemp("", "chipassay-restore-")
	if err != nil {
		return "", 0, err
	}
	defer os.RemoveAll(dir)
	copied := filepath.Join(dir, "copy.sqlite")
	if err := Restore(ctx, backup, copied); err != nil {
		return "", 0, err
	}
	from, err := Open(copied)
	if err != nil {
		return "", 0, err
	}
	defer from.Close()
	b, err := from.benchRow(ctx)
	if err != nil {
		return "", 0, err
	}
	switch {
	case b.letter == "" && letter == "":
		return "", 0, fmt.Errorf("%s is no bench's: give the letter of the bench that it becomes, as --bench A", backup)
	case b.letter == "" && !letters.MatchString(letter):
		return "", 0, fmt.Errorf("bench %q: a bench is named by one to three capital letters: A", letter)
	case b.letter == "":
		b = benchRow{letter: letter, id: randomID()}
	case letter != "" && letter != b.letter:
		return "", 0, fmt.Errorf("%s %w: it is of bench %s", backup, ErrBench, b.letter)
	}
	b.server = s.set // a server that is made again is another set, and its benches are the same
	if err := s.admit(ctx, b); err != nil {
		return "", 0, err
	}
	before, err := sealsOf(ctx, s.view(b.letter))
	if err != nil {
		return "", 0, s.explain(err)
	}
	if err := s.take(ctx, from.db, b.letter); err != nil {
		return "", 0, s.explain(err)
	}
	now, err := sealsOf(ctx, s.view(b.letter))
	return b.letter, now.Records.Count - before.Records.Count, s.explain(err)
}
