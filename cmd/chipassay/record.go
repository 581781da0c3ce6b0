package main

import (
	"errors"
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"chipassay/host/assay"
	"chipassay/host/chip"
	"chipassay/host/console"
	"chipassay/host/record"
	"chipassay/host/report"
)

func recordCommand() *cobra.Command {
	var (
		file      recordsFile
		form      listing
		full, row bool
		html      string
	)
	cmd := &cobra.Command{
		Use:   "record N",
		Short: "Show the current record of chip N",
		Long: `Show the current record of chip N. A chip keeps its number, which is that of its
first record, so the number on its bag stays true. A retest, a correction or an undo
is a record with a number of its own, which --full shows.`,
		Example: `  chipassay record 17
  chipassay record 17 --full
  chipassay record 19 --row
  chipassay record 17 --html chip-17.html`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			args, err := file.letters(args)
			if err != nil {
				return err
			}
			number, err := chip.ParseNumber(args[0])
			if err != nil {
				return err
			}
			return file.use(func(s *record.Store) error {
				if html != "" {
					return writeRecordPage(cmd, s, number, html)
				}
				return showRecord(cmd, s, number, form, full, row)
			})
		},
	}
	file.flag(cmd)
	form.flags(cmd)
	cmd.Flags().BoolVar(&full, "full", false, "with the numbers of all records about the chip")
	cmd.Flags().BoolVar(&row, "row", false, "the record with just this number, even if it is not the current one")
	cmd.Flags().StringVar(&html, "html", "", "write the report of the chip's current record, with its photo, to this HTML file instead")
	cmd.AddCommand(recordCorrectCommand(), recordVoidCommand(), recordGivenCommand(), recordPhotoCommand())
	return cmd
}

func showRecord(cmd *cobra.Command, s *record.Store, number int64, form listing, full, row bool) error {
	c, err := chip.Find(cmd.Context(), s, number)
	if err != nil {
		return err
	}
	serial := c.Serial()
	if row {
		serial = number
	}
	out := cmd.OutOrStdout()
	one := record.Query{All: true, After: serial - 1, Limit: 1}
	switch {
	case form.asJSON:
		_, err = s.ExportLines(cmd.Context(), out, one)
		return err
	case form.asCSV:
		_, err = s.ExportCSV(cmd.Context(), out, one)
		return err
	}
	r, err := s.Get(cmd.Context(), serial)
	if err != nil {
		return err
	}
	fmt.Fprintf(out, "Record %s\n", s.Number(r.Chip))
	if full || row || c.Current == nil {
		fmt.Fprintln(out, standing(s, r, c.Current))
	}
	fmt.Fprintln(out)
	if r.Kind != record.Void {
		var rows [][]string
		for _, f := range [][]string{{"Type", r.Type}, {"Marking", r.Marking}, {"Date code", chip.DateCode(r)}, {"Drawer", r.Drawer}, {"Lot", r.Lot},
			{"Operator", r.Operator}, {"Verdict", r.Verdict.Heading(assay.InPart(r.Reason))}, {"Grade", r.Grade.String()}} {
			reported := len(r.Report) > 0 && (f[0] == "Verdict" || f[0] == "Grade") // by the report below
			if f[1] != "" && !reported {
				rows = append(rows, f)
			}
		}
		if err := writeAligned(out, []string{"Tested", r.Time.Local().Format("2006-01-02 15:04:05 -0700")}, rows); err != nil {
			return err
		}
	}
	if r.Note != "" {
		fmt.Fprintf(out, "Note       %s\n", console.Printable(r.Note))
	}
	if err := sayPhoto(cmd, s, r.Chip); err != nil {
		return err
	}
	if len(c.History) > 1 {
		fmt.Fprintln(out, "\nRecords of this chip")
		for _, h := range c.History {
			number := ""
			if full || row {
				number = s.Number(h.Serial) + "  "
			}
			fmt.Fprintf(out, "  %s%s  %s\n", number, h.Time.Local().Format("2006-01-02 15:04"), console.Printable(chip.Words(h)))
		}
	}
	if len(r.Report) > 0 {
		d, err := report.ReadDocument(r.Report)
		if err != nil {
			return err
		}
		fmt.Fprintln(out)
		if err := d.WriteText(out, console.Colour(os.Stdout)); err != nil {
			return err
		}
	}
	if full || row {
		fmt.Fprintf(out, "\n  Digest of record %s  %s\n", s.Number(r.Serial), r.Digest)
	}
	return nil
}

// standing says which record is the current one of the chip.
func standing(s *record.Store, r record.Record, current *record.Record) string {
	switch {
	case current == nil:
		return "All records of this chip were taken back."
	case current.Serial != r.Serial:
		return fmt.Sprintf("This is record %s of chip %s; its current record is %s.", s.Number(r.Serial), s.Number(r.Chip), s.Number(current.Serial))
	}
	return fmt.Sprintf("The current record of chip %s is %s.", s.Number(r.Chip), s.Number(r.Serial))
}

// recordCorrectCommand corrects what a person wrote; what was measured stays.
func recordCorrectCommand() *cobra.Command {
	var (
		file                                     recordsFile
		lot                                      lotFlag
		drawer, operator, marked, dateCode, note string
	)
	cmd := &cobra.Command{
		Use:   "correct N",
		Short: "Correct the record of chip N",
		Long: `Correct the drawer, lot, operator, marking, date code or note of chip N. The chip
keeps its number; a new record replaces the current one, which is kept. Measurements
cannot be corrected: test the chip again.`,
		Example: `  chipassay record correct 17 --drawer D4 --date-code 7938`,
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return replaceRecord(cmd, &file, args[0], "corrected", func(s *record.Store, number int64) (record.Record, error) {
				if err := lot.check(cmd.Context(), s); err != nil {
					return record.Record{}, err
				}
				var c chip.Correction
				for flag, field := range map[string]struct {
					to   **string
					from *string
				}{
					"drawer": {&c.Drawer, &drawer}, "lot": {&c.Lot, &lot.name}, "operator": {&c.Operator, &operator},
					"marking": {&c.Marking, &marked}, "date-code": {&c.DateCode, &dateCode}, "note": {&c.Note, &note},
				} {
					if cmd.Flags().Changed(flag) {
						*field.to = field.from
					}
				}
				r, err := chip.Correct(cmd.Context(), s, number, c)
				if errors.Is(err, chip.ErrUnchanged) {
					err = errors.New("give what to correct: --drawer, --lot, --operator, --marking, --date-code or --note")
				}
				return r, flagError(err)
			})
		},
	}
	file.flag(cmd)
	flags := cmd.Flags()
	flags.StringVar(&drawer, "drawer", "", "drawer that it is in")
	lot.flags(cmd, "lot to which it belongs")
	flags.StringVar(&operator, "operator", "", "operator")
	flags.StringVar(&marked, "marking", "", "marking")
	flags.StringVar(&dateCode, "date-code", "", "date code: YYWW, YWW, or a month as marked: T4; empty for none")
	flags.StringVar(&note, "note", "", "note")
	return cmd
}

func recordVoidCommand() *cobra.Command {
	var (
		file recordsFile
		why  string
	)
	cmd := &cobra.Command{
		Use:   "void N",
		Short: "Take back the last record of chip N: the one before is current again",
		Args:  cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return replaceRecord(cmd, &file, args[0], "the last record was taken back", func(s *record.Store, number int64) (record.Record, error) {
				r, err := chip.TakeBack(cmd.Context(), s, number, why)
				if errors.Is(err, chip.ErrNoReason) {
					err = errors.New(`give the reason: --why "the wrong chip was in the socket"`)
				}
				return r, err
			})
		},
	}
	file.flag(cmd)
	cmd.Flags().StringVar(&why, "why", "", "reason")
	return cmd
}

// replaceRecord replaces a chip's current record, and says what was done.
func replaceRecord(cmd *cobra.Command, file *recordsFile, typed, done string, replace func(*record.Store, int64) (record.Record, error)) error {
	bare, err := file.letters([]string{typed})
	if err != nil {
		return err
	}
	number, err := chip.ParseNumber(bare[0])
	if err != nil {
		return err
	}
	return file.use(func(s *record.Store) error {
		r, err := replace(s, number)
		if err != nil {
			return err
		}
		fmt.Fprintf(cmd.OutOrStdout(), "record %s: %s\n", s.Number(r.Chip), done)
		sayLate(cmd, s)
		return nil
	})
}
