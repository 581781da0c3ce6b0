package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"chipassay/host/record"
)

// onServer reports whether the records are those of several benches on a server.
func (f *recordsFile) onServer() bool { return record.IsServer(f.path) }

// openBench opens this bench's own file.
func (f *recordsFile) openBench() (*record.Store, error) {
	own, err := record.BenchPath()
	if err != nil {
		return nil, err
	}
	letter := f.bench
	if f.reads {
		letter = ""
	}
	return record.OpenBench(context.Background(), f.path, letter, own)
}

// letters takes the letter of a bench off numbers as A17, and remembers it for use.
func (f *recordsFile) letters(typed []string) ([]string, error) {
	var numbers []string
	for i, t := range typed {
		letter, number := record.SplitNumber(t)
		if number == "" { // a word, whose fault is found elsewhere
			letter, number = "", t
		}
		if i > 0 && letter != f.of {
			return nil, fmt.Errorf("%s: name chips of one bench at a time", strings.Join(typed, " "))
		}
		f.of = letter
		numbers = append(numbers, number)
	}
	return numbers, nil
}

// useBench opens this bench's records, or those of the bench that was named, for work.
func (f *recordsFile) useBench(work func(*record.Store) error) (err error) {
	s, err := f.openBench()
	if errors.Is(err, record.ErrNoLetter) { // a computer that is no bench reads
		if f.of == "" {
			return record.ErrWhichBench
		}
		return f.withServer(context.Background(), func(server *record.Server) error {
			of, err := server.Of(context.Background(), f.of)
			if err != nil {
				return err
			}
			return work(of)
		})
	}
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	at, err := s.At(context.Background(), f.of)
	if err != nil {
		return err
	}
	return work(at)
}

func (f *recordsFile) withServer(ctx context.Context, work func(*record.Server) error) error {
	server, err := record.OpenServer(ctx, f.path)
	if err != nil {
		return err
	}
	return errors.Join(work(server), server.Close())
}

// useAll is useLot for work that lists or counts the chips of all benches, or of the one that --bench names. Without
// the server it is done with this bench's own, and said so.
func (f *recordsFile) useAll(cmd *cobra.Command, lot string, work func(*record.Store) error) (err error) {
	if !f.onServer() {
		return f.useLot(cmd, lot, work)
	}
	ctx := cmd.Context()
	chosen := func(all *record.Store) error {
		if f.bench != "" {
			if all, err = all.At(ctx, strings.ToUpper(f.bench)); err != nil {
				return err
			}
		}
		if err := all.FindLot(ctx, lot); err != nil {
			return err
		}
		return work(all)
	}
	s, err := f.openBench()
	if errors.Is(err, record.ErrNoLetter) { // a computer that is no bench only reads
		return f.withServer(ctx, func(server *record.Server) error { return chosen(server.All()) })
	}
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	all, waiting, err := s.Together(ctx)
	if err != nil {
		return err
	}
	if waiting.Why != nil {
		fmt.Fprintf(f.say, "this bench's own records alone: %v\n", waiting.Why)
		if words := waiting.Words(); words != "" {
			fmt.Fprintln(f.say, words)
		}
	}
	return chosen(all)
}

// sayLate says what was not handed over, after a row was added.
func sayLate(cmd *cobra.Command, s *record.Store) {
	if late := s.LateWords(); late != "" {
		fmt.Fprintln(cmd.ErrOrStderr(), late)
	}
}

// verifyServer verifies this bench's own file, if there is one, and then the records of all benches.
func (f *recordsFile) verifyServer(cmd *cobra.Command, kept record.Seals) error {
	own, err := record.BenchPath()
	if err != nil {
		return err
	}
	if _, err := os.Stat(own); err == nil {
		n, err := verifyFile(cmd, own, kept)
		if err != nil {
			return err
		}
		fmt.Fprintf(cmd.OutOrStdout(), "%s: %d records, all as they were written\n", own, n)
	} else if kept != (record.Seals{}) {
		return errors.New("a count and a digest are of this bench's own records, and this computer is no bench")
	}
	server, err := record.OpenServer(cmd.Context(), f.path)
	if err != nil {
		return err
	}
	defer server.Close()
	records, benches, ties, bad, err := server.Verify(cmd.Context())
	if bad != nil {
		return &statusError{exitFailed, fmt.Errorf("%s was changed: %s; back up what is there, and restore a backup on another server", server.Address(), bad)}
	}
	if err != nil {
		return err
	}
	days := "1 day"
	if ties != 1 {
		days = fmt.Sprintf("%d days", ties)
	}
	fmt.Fprintf(cmd.OutOrStdout(), "%s: %d records of %d benches, all as they were written; chains tied together on %s\n", server.Address(), records, benches, days)
	return nil
}

func recordsMoveCommand() *cobra.Command {
	var bench string
	cmd := &cobra.Command{
		Use:   "move FROM TO",
		Short: "Take a file of records into a server of several benches, or a bench's back into a file",
		Long: `Take the records of a file into a PostgreSQL server as those of a bench, or those
of a bench from the server into a new file. Numbers and digests stay as they are.

Into the server: the file is copied, the copy becomes this bench's own file, and it
is handed over. Do not add to the old file after; it is left as it is. A move that
was cut off goes on when it is repeated.

From the server: the new file can be used alone, or as the bench's own file.`,
		Example: `  chipassay records move records.sqlite postgres://workshop@server/chips --bench A
  chipassay records move postgres://workshop@server/chips bench-a.sqlite --bench A`,
		Args: cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			from, to := args[0], args[1]
			switch {
			case record.IsServer(from) == record.IsServer(to):
				return errors.New("one of the two is a file, the other a server as postgres://…")
			case record.IsServer(from):
				return moveBack(cmd, from, to, bench)
			}
			own, err := record.BenchPath()
			if err != nil {
				return err
			}
			s, err := record.MoveToServer(cmd.Context(), from, to, bench, own)
			if err != nil {
				return err
			}
			defer s.Close()
			now, err := s.Seals(cmd.Context())
			if err != nil {
				return err
			}
			fmt.Fprintf(cmd.OutOrStdout(), "%d records are on the server as those of bench %s; this bench's own file is %s\n%s is left as it is: do not add to it any more\n",
				now.Records.Count, s.Bench(), own, from)
			return nil
		},
	}
	cmd.Flags().StringVar(&bench, "bench", "", "letter of the bench")
	return cmd
}

func moveBack(cmd *cobra.Command, address, file, bench string) error {
	server, err := record.OpenServer(cmd.Context(), address)
	if err != nil {
		return err
	}
	defer server.Close()
	if bench == "" {
		benches, err := server.Benches(cmd.Context())
		if err != nil {
			return err
		}
		if len(benches) != 1 {
			return fmt.Errorf("whose records? Give the bench's letter with --bench: %s", cmp.Or(strings.Join(benches, ", "), "there is none yet"))
		}
		bench = benches[0]
	}
	n, err := server.CopyBench(cmd.Context(), bench, file)
	if err != nil {
		return err
	}
	fmt.Fprintf(cmd.OutOrStdout(), "%s: %d records of bench %s\n", file, n, bench)
	return nil
}

// backupServer writes a file for each bench.
func (f *recordsFile) backupServer(cmd *cobra.Command, name string) error {
	server, err := record.OpenServer(cmd.Context(), f.path)
	if err != nil {
		return err
	}
	defer server.Close()
	files, err := server.Backup(cmd.Context(), name)
	for _, file := range files {
		fmt.Fprintf(cmd.OutOrStdout(), "%s: a copy of a bench of %s\n", file, server.Address())
	}
	return err
}

func (f *recordsFile) restoreServer(cmd *cobra.Command, backup string) error {
	server, err := record.OpenServer(cmd.Context(), f.path)
	if err != nil {
		return err
	}
	defer server.Close()
	bench, n, err := server.Restore(cmd.Context(), backup, f.bench)
	if err != nil {
		return err
	}
	fmt.Fprintf(cmd.OutOrStdout(), "%s: %d records of bench %s restored from %s\n", server.Address(), n, bench, backup)
	return nil
}
