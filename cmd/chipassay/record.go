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
		file recordsFile
		form listing
	)
	cmd := &cobra.Command{
		Use:   "record N",
		Short: "Show one record whole, and what became of its chip since",
		Args:  cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			serial, err := serialOf(args[0])
			if err != nil {
				return err
			}
			return file.use(func(s *record.Store) error { return showRecord(cmd, s, serial, form) })
		},
	}
	file.flag(cmd)
	form.flags(cmd)
	cmd.AddCommand(recordCorrectCommand(), recordVoidCommand())
	return cmd
}

func serialOf(typed string) (int64, error) {
	n, err := strconv.ParseInt(typed, 10, 64)
	if err != nil || n < 1 {
		return 0, fmt.Errorf("%q is not the number of a record: chipassay log lists them", typed)
	}
	return n, nil
}

func showRecord(cmd *cobra.Command, s *record.Store, serial int64, form listing) error {
	r, history, current, err := whole(cmd.Context(), s, serial)
	if err != nil {
		return err
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
	fmt.Fprintf(out, "Record %d, a %s\n%s\n\n", r.Serial, r.Kind, standing(r, current))
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
	if len(history) > 1 {
		fmt.Fprintln(out, "\nAll rows about this chip")
		for _, h := range history {
			fmt.Fprintf(out, "  %d  %s  %s\n", h.Serial, h.Time.Local().Format("2006-01-02 15:04"), report.Printable(historyWords(h)))
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
	fmt.Fprintf(out, "\n  Digest %s\n", r.Digest)
	return nil
}

// standing says whether a record holds.
func standing(r record.Record, current *record.Record) string {
	switch {
	case r.Kind == record.Void:
		return fmt.Sprintf("Record %d does not hold.", r.Corrects)
	case current == nil:
		return "It was undone, and no other record about this chip holds."
	case current.Serial != r.Serial:
		return fmt.Sprintf("Record %d holds for this chip, not this one.", current.Serial)
	}
	return "It holds for this chip."
}

func historyWords(h record.Record) string {
	switch h.Kind {
	case record.Void:
		return fmt.Sprintf("record %d does not hold: %s", h.Corrects, h.Reason)
	case record.Correction:
		return fmt.Sprintf("record %d corrected: %s %s", h.Corrects, h.Type, h.Verdict)
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
		Short: "Correct what was written down about a chip: a new record takes the place of N",
		Long: `Correct the drawer, lot, operator, marking, date code or note of record N. N stays
as it is; a new record with the rest of it takes its place. What was measured
cannot be corrected: test the chip again.`,
		Example: `  chipassay record correct 17 --drawer D4 --date-code 7938`,
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return replaceRecord(cmd, &file, args[0], func(s *record.Store, r *record.Record) (err error) {
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
					return errors.New("nothing to correct was given: --drawer, --lot, --operator, --marking, --date-code or --note")
				}
				r.Kind = record.Correction
				return correctReport(r, cmd.Flags().Changed("date-code"), date)
			})
		},
	}
	file.flag(cmd)
	flags := cmd.Flags()
	flags.StringVar(&drawer, "drawer", "", "drawer in which it lies")
	lot.flags(cmd, "lot to which it belongs")
	flags.StringVar(&operator, "operator", "", "who tested it")
	flags.StringVar(&marked, "marking", "", "what is marked on it")
	flags.StringVar(&dateCode, "date-code", "", "date code: YYWW or YWW; empty for none")
	flags.StringVar(&note, "note", "", "your own words")
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
		c.DateCode = report.DateOf(date)
	}
	r.Report, err = json.Marshal(c)
	return err
}

// dateCodeOf reads the date code of a record's chip; an empty one is none.
func dateCodeOf(r *record.Record, typed string) (*marking.DateCode, error) {
	if typed == "" {
		return nil, nil
	}
	since := 0
	if f := part.FamilyByName(r.Family); f != nil {
		since = marking.MadeSince(f)
	}
	d, err := marking.ParseDateCode(typed, since, time.Now())
	return &d, err
}

func recordVoidCommand() *cobra.Command {
	var (
		file recordsFile
		why  string
	)
	cmd := &cobra.Command{
		Use:   "void N",
		Short: "Say that record N does not hold: the chip stands as before it",
		Args:  cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if why == "" {
				return errors.New(`say why: --why "the wrong chip was in the socket"`)
			}
			return replaceRecord(cmd, &file, args[0], func(_ *record.Store, r *record.Record) error {
				r.Kind, r.Verdict, r.Grade, r.Reason, r.Report = record.Void, "", "", why, nil
				return nil
			})
		},
	}
	file.flag(cmd)
	cmd.Flags().StringVar(&why, "why", "", "why it does not hold")
	return cmd
}

// replaceRecord appends a row that takes the place of a record.
func replaceRecord(cmd *cobra.Command, file *recordsFile, typed string, change func(*record.Store, *record.Record) error) error {
	serial, err := serialOf(typed)
	if err != nil {
		return err
	}
	return file.use(func(s *record.Store) error {
		r, _, current, err := whole(cmd.Context(), s, serial)
		switch {
		case err != nil:
			return err
		case current == nil:
			return fmt.Errorf("record %d was undone", serial)
		case current.Serial != serial:
			return fmt.Errorf("record %d does not hold any more: name record %d", serial, current.Serial)
		}
		r.Corrects, r.RetestOf, r.Time = serial, 0, time.Now()
		if err := change(s, &r); err != nil {
			return err
		}
		if r, err = s.Append(cmd.Context(), r); err != nil {
			return err
		}
		fmt.Fprintf(cmd.OutOrStdout(), "record %d takes the place of %d\n", r.Serial, serial)
		return nil
	})
}
