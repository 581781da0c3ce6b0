package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"chipassay/host/record"
)

// A recordsFile is where records are kept: the file that --records names, or
// the person's own.
type recordsFile struct{ path string }

// flag gives a command the flag --records.
func (f *recordsFile) flag(cmd *cobra.Command) {
	cmd.Flags().StringVar(&f.path, "records", "", "file of records, in place of your own")
}

// name is the file's path.
func (f *recordsFile) name() (string, error) {
	if f.path != "" {
		return f.path, nil
	}
	return record.DefaultPath()
}

// append opens the file to add to it, and makes it if there is none.
func (f *recordsFile) append() (*record.Store, error) {
	name, err := f.name()
	if err != nil {
		return nil, err
	}
	return record.Open(name)
}

// forChips opens the file to add chips to it. Virtual chips do not stand in one
// file with real ones, whose stock and yield they would spoil for good.
func (f *recordsFile) forChips(ctx context.Context, virtual bool) (*record.Store, error) {
	s, err := f.append()
	if err != nil {
		return nil, err
	}
	for r, err := range s.Find(ctx, record.Query{All: true, NewestFirst: true, Limit: 1}) {
		if err == nil && strings.HasPrefix(r.Adapter, virtualAdapter) != virtual {
			here, those := "real", "virtual chips"
			if !virtual {
				here, those = "virtual", "real ones"
			}
			err = fmt.Errorf("%s holds records of %s chips, among which %s do not belong: name another file with --records", s.Path(), here, those)
		}
		if err != nil {
			return nil, errors.Join(err, s.Close())
		}
	}
	return s, nil
}

// existing is the path of the file, which there must be.
func (f *recordsFile) existing() (string, error) {
	name, err := f.name()
	if err != nil {
		return "", err
	}
	if _, err := os.Stat(name); errors.Is(err, fs.ErrNotExist) {
		return "", fmt.Errorf("there are no records in %s yet: chipassay drawer or chipassay test --record make them, --records names another file", name)
	}
	return name, nil
}

// use opens the file for work that needs records, and closes it.
func (f *recordsFile) use(work func(*record.Store) error) (err error) {
	name, err := f.existing()
	if err != nil {
		return err
	}
	store, err := record.Open(name)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, store.Close()) }()
	return work(store)
}

// useLot is use for work on a lot, which must exist unless its name is empty.
func (f *recordsFile) useLot(cmd *cobra.Command, lot string, work func(*record.Store) error) error {
	return f.use(func(s *record.Store) error {
		if err := s.FindLot(cmd.Context(), lot); err != nil {
			return err
		}
		return work(s)
	})
}

// A lotFlag is the lot under which chips are written down. It must exist: chips under a
// mistyped name would be missing from their own lot.
type lotFlag struct {
	name  string
	isNew bool
}

func (l *lotFlag) flags(cmd *cobra.Command, usage string) {
	cmd.Flags().StringVar(&l.name, "lot", "", usage)
	cmd.Flags().BoolVar(&l.isNew, "new-lot", false, "the lot is new, and has no plan: lot open gives one to it")
}

// check refuses the name of a lot that does not exist. The first lot of a file can be any.
func (l *lotFlag) check(ctx context.Context, s *record.Store) error {
	l.name = strings.TrimSpace(l.name)
	err := s.FindLot(ctx, l.name)
	switch {
	case l.isNew && l.name == "":
		return errors.New("--new-lot is for the name of a lot: add --lot NAME")
	case err == nil || record.FirstLot(err) || l.isNew && errors.Is(err, record.ErrNoLot):
		return nil
	case errors.Is(err, record.ErrNoLot):
		return fmt.Errorf("%w; for a new one: chipassay lot open, or --new-lot", err)
	}
	return err
}

// whole gives the record of a serial number with all rows about its chip, and which of them holds.
func whole(ctx context.Context, s *record.Store, serial int64) (r record.Record, history []record.Record, current *record.Record, err error) {
	if r, err = s.Get(ctx, serial); err != nil {
		return r, nil, nil, err
	}
	if history, err = s.History(ctx, serial); err != nil {
		return r, nil, nil, err
	}
	return r, history, record.Current(history), nil
}
