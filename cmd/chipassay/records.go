package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"chipassay/host/record"
	"chipassay/host/sheet"
)

func recordsCommand(d *definitions) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "records",
		Short: "Back up, restore, export, import and move the file of records",
	}
	cmd.AddCommand(recordsPathCommand(), recordsBackupCommand(), recordsRestoreCommand(), recordsExportCommand(), recordsImportCommand(d), recordsMoveCommand())
	return cmd
}

func recordsPathCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "path",
		Short: "Show where your records are kept, and those of practice",
		Args:  cobra.NoArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			own, err := record.DefaultPath()
			if err != nil {
				return err
			}
			practice, err := record.PracticePath()
			if err != nil {
				return err
			}
			fmt.Fprintf(cmd.OutOrStdout(), "%s\n%s (practice with virtual chips: --practice)\n", own, practice)
			if bench, err := record.BenchPath(); err == nil {
				if _, err := os.Stat(bench); err == nil {
					fmt.Fprintf(cmd.OutOrStdout(), "%s (this bench's own file, handed over to a server: --records postgres://…)\n", bench)
				}
			}
			return nil
		},
	}
}

func recordsBackupCommand() *cobra.Command {
	var file recordsFile
	cmd := &cobra.Command{
		Use:   "backup FILE",
		Short: "Write a checked copy of all records to a new file",
		Long: `Write a checked copy of all records to a new file. Of a server (--records
postgres://…) each bench gets a file: of copy.sqlite, copy-A.sqlite for bench A.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if file.onServer() {
				return file.backupServer(cmd, args[0])
			}
			return file.use(func(s *record.Store) error {
				if err := s.Backup(cmd.Context(), args[0]); err != nil {
					return err
				}
				fmt.Fprintf(cmd.OutOrStdout(), "%s: a copy of %s\n", args[0], s.Path())
				return nil
			})
		},
	}
	file.flag(cmd)
	return cmd
}

func recordsRestoreCommand() *cobra.Command {
	var file recordsFile
	cmd := &cobra.Command{
		Use:   "restore BACKUP",
		Short: "Restore the file of records from a backup; no file is overwritten",
		Long: `Restore the file of records from a backup; no file is overwritten. To a server
(--records postgres://…) a bench's backup is restored with its letter; a bench that
is there gets only the rows that it lacks.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if file.onServer() {
				return file.restoreServer(cmd, args[0])
			}
			name, err := file.name()
			if err != nil {
				return err
			}
			if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
				return err
			}
			if err := record.Restore(cmd.Context(), args[0], name); err != nil {
				return err
			}
			fmt.Fprintf(cmd.OutOrStdout(), "%s: restored from %s\n", name, args[0])
			return nil
		},
	}
	file.flag(cmd)
	return cmd
}

func recordsExportCommand() *cobra.Command {
	var file recordsFile
	cmd := &cobra.Command{
		Use:   "export FILE",
		Short: "Write every row to a file: .csv, .xlsx, or .jsonl for JSON Lines; - is standard output as JSON Lines",
		Long: `Write every row with its report to a file, for other programs and for import
elsewhere: CSV (RFC 4180) if the name ends in .csv, a spreadsheet with the same
columns if in .xlsx, JSON Lines if in .jsonl. An apostrophe is put before CSV cells
that a spreadsheet would run as formulas. JSON Lines carry photos, the others only
their digests. The plans of lots are not in it:
chipassay lot list --json writes them, and records backup copies everything.

With --records postgres://… the rows of all benches are written, with the letter of
each; --bench B writes those of bench B alone.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			asCSV, err := isCSV(args[0])
			if err != nil {
				return err
			}
			return file.useAll(cmd, "", func(s *record.Store) error {
				n, photos := 0, 0
				write := func(w io.Writer) (err error) {
					if sheet.Is(args[0]) {
						n, err = s.ExportWorkbook(cmd.Context(), w, record.Query{All: true})
					} else if asCSV {
						n, err = s.ExportCSV(cmd.Context(), w, record.Query{All: true})
					} else {
						n, photos, err = s.ExportAll(cmd.Context(), w)
					}
					return err
				}
				if args[0] == "-" {
					return write(cmd.OutOrStdout())
				}
				if err := writeFile(args[0], write); err != nil {
					return err
				}
				fmt.Fprintf(cmd.OutOrStdout(), "%s: %d rows%s\n", args[0], n, andPhotos(photos))
				return nil
			})
		},
	}
	file.readFlag(cmd)
	return cmd
}

// andPhotos says how many photos there were besides.
func andPhotos(n int) string {
	switch n {
	case 0:
		return ""
	case 1:
		return "; 1 photo"
	}
	return fmt.Sprintf("; %d photos", n)
}

// isCSV reports whether a file name is that of CSV.
func isCSV(name string) (bool, error) {
	switch strings.ToLower(filepath.Ext(name)) {
	case ".csv":
		return true, nil
	case ".jsonl", ".ndjson", ".xlsx":
		return false, nil
	}
	if name == "-" {
		return false, nil
	}
	return false, fmt.Errorf("%s: end the name in .csv, .xlsx or .jsonl, which selects the format", name)
}

func recordsImportCommand(d *definitions) *cobra.Command {
	var (
		file recordsFile
		list handList
	)
	cmd := &cobra.Command{
		Use:   "import FILE",
		Short: "Append what export wrote, or take over a list kept by hand; existing rows are skipped",
		Long: `Append what export wrote, all or nothing. Rows that the file of records has already
are skipped.

With --columns FILE is a list kept by hand, as CSV or .xlsx. It names the headers of the list's
columns: of part, which is needed, date (a date code), drawer, lot, count, marking and
note. All other columns, and what is not understood, are kept as a note. Every chip is
recorded as not tested. What would be added is shown first; on a terminal you are asked,
elsewhere --yes adds it.`,
		Example: `  chipassay records import backup.jsonl
  chipassay records import drawers.csv --columns "part=IC, date=Code, drawer=Lade"
  chipassay records import drawers.csv --columns "part=IC, count=Pieces" --yes`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) (err error) {
			if list.columns != "" {
				return list.take(cmd, d, &file, args[0])
			}
			if err := list.alone(); err != nil {
				return err
			}
			asCSV, err := isCSV(args[0])
			if err != nil {
				return err
			}
			var in io.Reader = cmd.InOrStdin()
			if args[0] != "-" {
				f, err := os.Open(args[0])
				if err != nil {
					return err
				}
				defer f.Close()
				in = f
			}
			s, err := file.append()
			if err != nil {
				return err
			}
			defer func() { err = errors.Join(err, s.Close()) }()
			load := s.ImportLines
			switch {
			case sheet.Is(args[0]):
				load = s.ImportWorkbook
			case asCSV:
				load = s.ImportCSV
			}
			done, err := load(cmd.Context(), in)
			if err != nil {
				return err
			}
			fmt.Fprintf(cmd.OutOrStdout(), "%s: %d rows added, %d existed already%s\n", s.Path(), done.Added, done.Duplicates, andPhotos(done.Photos))
			return nil
		},
	}
	file.flag(cmd)
	list.flags(cmd)
	return cmd
}
