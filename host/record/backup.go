package record

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
)

// Backup writes a checked copy of all records, as they are when it begins, to a
// new file. It never writes over a file (fs.ErrExist).
func (s *Store) Backup(ctx context.Context, path string) error {
	return copyInto(ctx, s.db, path)
}

// Restore makes the file of records at path from a backup, which is verified
// first and not changed. It never writes over a file (fs.ErrExist).
func Restore(ctx context.Context, backup, path string) error {
	backup, err := filepath.Abs(backup) // as connect wants it
	if err != nil {
		return err
	}
	if err := inspect(backup, migrations); err != nil {
		return err
	}
	db, err := connect(backup, readOnly)
	if err != nil {
		return err
	}
	defer db.Close()
	tx, err := db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return err
	}
	defer tx.Rollback()
	_, bad, err := verify(ctx, tx)
	if err != nil {
		return fmt.Errorf("restore from %s: %w", backup, err)
	}
	if bad != nil {
		return fmt.Errorf("records file %s %w: %s: restore from another backup", backup, ErrDamaged, bad)
	}
	if err := tx.Rollback(); err != nil {
		return err
	}
	return copyInto(ctx, db, path)
}

// copyInto copies a database into a new file.
func copyInto(ctx context.Context, db *sql.DB, path string) error {
	path, err := filepath.Abs(path)
	if err != nil {
		return err
	}
	if err := stray(path); err != nil {
		return err
	}
	err = place(path, func(temporary string) error {
		if _, err := db.ExecContext(ctx, "VACUUM INTO ?", temporary); err != nil {
			return err
		}
		return inspect(temporary, migrations)
	})
	switch {
	case errors.Is(err, fs.ErrExist):
		return fmt.Errorf("%s is there already and is left as it is: name another file: %w", path, fs.ErrExist)
	case err != nil:
		return fmt.Errorf("copy records into %s: %w", path, err)
	}
	return nil
}
