package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"strconv"
	"time"

	"github.com/spf13/cobra"

	"chipassay/host/assay"
	"chipassay/host/marking"
	"chipassay/host/record"
	"chipassay/host/report"
	"chipassay/vectors/part"
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
			number, err := serialOf(args[0])
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
	cmd.AddCommand(recordCorrectCommand(), recordVoidCommand(), recordPhotoCommand())
	return cmd
}

func serialOf(typed string) (int64, error) {
	n, err := strconv.ParseInt(typed, 10, 64)
	if err != nil || n < 1 {
		return 0, fmt.Errorf("%q is not a record number: chipassay log lists the records", typed)
	}
	return n, nil
}

func showRecord(cmd *cobra.Command, s *record.Store, number int64, form listing, full, row bool) error {
	history, current, err := whole(cmd.Context(), s, number)
	if err != nil {
		return err
	}
	serial := history[len(history)-1].Serial
	switch {
	case row:
		serial = number
	case current != nil:
		serial = current.Serial
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
	fmt.Fprintf(out, "Record %d\n", r.Chip)
	if full || row || current == nil {
		fmt.Fprintln(out, standing(r, current))
	}
	fmt.Fprintln(out)
	if r.Kind != record.Void {
		var rows [][]string
		for _, f := range [][]string{{"Type", r.Type}, {"Marking", r.Marking}, {"Date code", dateOf(r)}, {"Drawer", r.Drawer}, {"Lot", r.Lot},
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
		fmt.Fprintf(out, "Note       %s\n", report.Printable(r.Note))
	}
	if err := sayPhoto(cmd, s, r.Chip); err != nil {
		return err
	}
	if len(history) > 1 {
		fmt.Fprintln(out, "\nRecords of this chip")
		for _, h := range history {
			number := ""
			if full || row {
				number = fmt.Sprintf("%d  ", h.Serial)
			}
			fmt.Fprintf(out, "  %s%s  %s\n", number, h.Time.Local().Format("2006-01-02 15:04"), report.Printable(historyWords(h)))
		}
	}
	if len(r.Report) > 0 {
		c, err := report.ReadDocument(r.Report)
		if err != nil {
			return err
		}
		fmt.Fprintln(out)
		if err := c.WriteText(out, report.Colour(os.Stdout)); err != nil {
			return err
		}
	}
	if full || row {
		fmt.Fprintf(out, "\n  Digest of record %d  %s\n", r.Serial, r.Digest)
	}
	return nil
}

// standing says which record is the current one of the chip.
func standing(r record.Record, current *record.Record) string {
	switch {
	case current == nil:
		return "All records of this chip were taken back."
	case current.Serial != r.Serial:
		return fmt.Sprintf("This is record %d of chip %d; its current record is %d.", r.Serial, r.Chip, current.Serial)
	}
	return fmt.Sprintf("The current record of chip %d is %d.", r.Chip, r.Serial)
}

func historyWords(h record.Record) string {
	switch {
	case h.Kind == record.Void:
		return "taken back: " + h.Reason
	case h.Kind == record.Correction:
		return fmt.Sprintf("corrected: %s %s", h.Type, h.Verdict)
	case h.RetestOf != 0:
		return fmt.Sprintf("tested again: %s %s %s", h.Type, h.Verdict, h.Grade)
	}
	return fmt.Sprintf("tested: %s %s %s", h.Type, h.Verdict, h.Grade)
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
			return replaceRecord(cmd, &file, args[0], "corrected", func(s *record.Store, r *record.Record) (err error) {
				if err := lot.check(cmd.Context(), s); err != nil {
					return err
				}
				changed := false
				var date *marking.DateCode
				for flag, field := range map[string]struct{ to, from *string }{
					"drawer": {&r.Drawer, &drawer}, "lot": {&r.Lot, &lot.name}, "operator": {&r.Operator, &operator},
					"marking": {&r.Marking, &marked}, "note": {&r.Note, &note},
				} {
					if cmd.Flags().Changed(flag) {
						*field.to, changed = *field.from, true
					}
				}
				if cmd.Flags().Changed("date-code") {
					changed = true
					if date, err = dateCodeOf(r, dateCode); err != nil {
						return err
					}
					r.SetDate(date)
				}
				if !changed {
					return errors.New("give what to correct: --drawer, --lot, --operator, --marking, --date-code or --note")
				}
				r.Kind = record.Correction
				return correctReport(r, cmd.Flags().Changed("date-code"), date)
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

// correctReport puts the note of a record into its report too, and the date code
// where that was corrected.
func correctReport(r *record.Record, dated bool, date *marking.DateCode) error {
	if len(r.Report) == 0 {
		return nil
	}
	c, err := report.ReadDocument(r.Report)
	if err != nil {
		return err
	}
	if c.Note = r.Note; dated {
		c.DateCode = date
	}
	r.Report, err = json.Marshal(c)
	return err
}

// dateCodeOf reads the date code of a record's chip; an empty one is none.
func dateCodeOf(r *record.Record, typed string) (*marking.DateCode, error) {
	if typed == "" {
		return nil, nil
	}
	d, err := marking.ReadDateCode(typed, marking.MadeSince(part.FamilyByName(r.Family)), time.Now())
	return &d, err
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
			if why == "" {
				return errors.New(`give the reason: --why "the wrong chip was in the socket"`)
			}
			return replaceRecord(cmd, &file, args[0], "the last record was taken back", func(_ *record.Store, r *record.Record) error {
				r.Kind, r.Verdict, r.Grade, r.Reason, r.Report = record.Void, "", "", why, nil
				return nil
			})
		},
	}
	file.flag(cmd)
	cmd.Flags().StringVar(&why, "why", "", "reason")
	return cmd
}

// replaceRecord appends a row that replaces a chip's current record, and says
// what was done. The number of a record that is neither the chip's own nor the current
// one is refused: it is another that would be changed.
func replaceRecord(cmd *cobra.Command, file *recordsFile, typed, done string, change func(*record.Store, *record.Record) error) error {
	number, err := serialOf(typed)
	if err != nil {
		return err
	}
	return file.use(func(s *record.Store) error {
		history, current, err := whole(cmd.Context(), s, number)
		switch {
		case err != nil:
			return err
		case current == nil:
			return fmt.Errorf("record %d was taken back", number)
		case number != history[0].Serial && number != current.Serial:
			return fmt.Errorf("record %d is not the current one of chip %d: name the chip's number, %d", number, history[0].Serial, history[0].Serial)
		}
		r, err := s.Get(cmd.Context(), current.Serial)
		if err != nil {
			return err
		}
		r.Corrects, r.RetestOf, r.Time = r.Serial, 0, time.Now()
		if err := change(s, &r); err != nil {
			return err
		}
		if r, err = s.Append(cmd.Context(), r); err != nil {
			return err
		}
		fmt.Fprintf(cmd.OutOrStdout(), "record %d: %s\n", r.Chip, done)
		return nil
	})
}
