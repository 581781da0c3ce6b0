package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"chipassay/host/record"
)

// A recordsFile is where records are kept: the file or server that --records names, the person's
// own file, or that of practice with virtual chips. With a server, the bench's own file is
// what is written and read, and handed over.
type recordsFile struct {
	path     string
	bench    string // the letter that --bench gives
	of       string // the letter before the numbers that were named, where it is another bench's
	reads    bool   // bench says whose records are listed
	practice bool
	say      io.Writer // where a note goes; nil for none
}

// flag gives a command the flags --records and --practice.
func (f *recordsFile) flag(cmd *cobra.Command) {
	cmd.Flags().StringVar(&f.path, "records", "", "file of records, instead of the default; or postgres://… for those of several benches")
	cmd.Flags().StringVar(&f.bench, "bench", "", "with --records postgres://…, the first time: this bench's letter, before its numbers")
	f.more(cmd)
}

// readFlag is flag for a command that lists or counts what all benches have.
func (f *recordsFile) readFlag(cmd *cobra.Command) {
	f.reads = true
	cmd.Flags().StringVar(&f.path, "records", "", "file of records, instead of the default; or postgres://… for those of several benches")
	cmd.Flags().StringVar(&f.bench, "bench", "", "with --records postgres://…: of this bench alone, by its letter")
	f.more(cmd)
}

func (f *recordsFile) more(cmd *cobra.Command) {
	cmd.Flags().BoolVar(&f.practice, "practice", false, "the records of practice with virtual chips, instead of the default")
	cmd.MarkFlagsMutuallyExclusive("records", "practice")
	f.say = cmd.ErrOrStderr()
}

// name is the file's path.
func (f *recordsFile) name() (string, error) {
	switch {
	case f.bench != "" && !f.onServer():
		return "", errors.New("--bench is for the records of several benches on a server: add --records postgres://…")
	case f.path != "":
		return f.path, nil
	case f.practice:
		return record.PracticePath()
	}
	return record.DefaultPath()
}

// own reports whether the file is the person's own.
func (f *recordsFile) own() bool { return f.path == "" && !f.practice }

// append opens the file to add to it, and makes it if there is none.
func (f *recordsFile) append() (*record.Store, error) {
	name, err := f.name()
	if err != nil {
		return nil, err
	}
	if f.onServer() {
		return f.openBench()
	}
	return record.Open(name)
}

// forChips opens the file to add chips to it. Virtual chips are not in one
// file with real ones, whose stock and yield they would spoil for good: unless a file is
// named, they go to that of practice.
func (f *recordsFile) forChips(ctx context.Context, virtual bool) (*record.Store, error) {
	if f.practice && !virtual {
		return nil, errors.New("--practice is for virtual chips: leave it out")
	}
	f.practice = virtual && f.path == ""
	s, err := f.append()
	if err != nil {
		return nil, err
	}
	all, _, err := s.Together(ctx) // of several benches none has others than the rest
	if err != nil {
		return nil, errors.Join(err, s.Close())
	}
	for r, err := range all.Find(ctx, record.Query{All: true, NewestFirst: true, Limit: 1}) {
		if err == nil && strings.HasPrefix(r.Adapter, virtualAdapter) != virtual {
			here, those, advice := "real", "virtual chips", "name another file with --records"
			if !virtual {
				here, those = "virtual", "real ones"
			}
			if !virtual && f.own() {
				advice = "move that file away, and go on with a new one"
			}
			err = fmt.Errorf("%s holds records of %s chips; %s do not belong there: %s", all.Path(), here, those, advice)
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
	if err == nil && f.onServer() {
		name, err = record.BenchPath()
	}
	if err != nil {
		return "", err
	}
	if _, err := os.Stat(name); errors.Is(err, fs.ErrNotExist) && f.onServer() {
		return "", errors.New("this computer is no bench yet: give its letter once, as --bench A")
	}
	if _, err := os.Stat(name); errors.Is(err, fs.ErrNotExist) {
		if f.own() && practised() {
			return "", fmt.Errorf("there are no records in %s yet, but there are some of practice: --practice shows them", name)
		}
		return "", fmt.Errorf("no records in %s yet: make them with chipassay drawer or chipassay test --record, or name another file with --records", name)
	}
	return name, nil
}

// practised reports whether there are records of practice.
func practised() bool {
	name, err := record.PracticePath()
	if err != nil {
		return false
	}
	if _, err := os.Stat(name); err != nil {
		return false // it is not made by asking
	}
	s, err := record.Open(name)
	if err != nil {
		return false
	}
	defer s.Close()
	return !isEmpty(s)
}

func isEmpty(s *record.Store) bool {
	for range s.Find(context.Background(), record.Query{All: true, Limit: 1}) {
		return false
	}
	return true
}

// use opens the file for work that needs records, and closes it.
func (f *recordsFile) use(work func(*record.Store) error) (err error) {
	if f.onServer() {
		return f.useBench(work)
	}
	if f.of != "" {
		return fmt.Errorf("a number with a letter, as %s17, is of one of several benches: add --records postgres://…", f.of)
	}
	name, err := f.existing()
	if err != nil {
		return err
	}
	store, err := record.Open(name)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, store.Close()) }()
	if f.own() && isEmpty(store) && practised() {
		fmt.Fprintln(f.say, "your own records are empty, but there are some of practice: --practice shows them")
	}
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

// A lotFlag is the lot under which chips are recorded. It must exist: chips under a
// mistyped name would be missing from their own lot.
type lotFlag struct {
	name  string
	isNew bool
}

func (l *lotFlag) flags(cmd *cobra.Command, usage string) {
	cmd.Flags().StringVar(&l.name, "lot", "", usage)
	cmd.Flags().BoolVar(&l.isNew, "new-lot", false, "start a new lot without a plan (lot open gives it one)")
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
