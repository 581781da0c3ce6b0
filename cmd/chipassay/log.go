package main

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"chipassay/host/assay"
	"chipassay/host/chip"
	"chipassay/host/record"
)

// newest is how many records a list for a person has if nothing else is asked for.
const newest = 50

func logCommand() *cobra.Command {
	var (
		file  recordsFile
		f     filter
		form  listing
		limit int
		all   bool
	)
	cmd := &cobra.Command{
		Use:   "log",
		Short: "List the chips that were tested, the newest first",
		Long: `List the chips that were tested, the newest first. A chip that was retested or
corrected is listed once, with its current record, under the number of its first;
--all lists every row, with its own number.

With --records postgres://… the chips of all benches are listed, by time and with
their bench's letter, and it is said what of this bench is not handed over yet.
--bench B lists those of bench B alone.`,
		Example: `  chipassay log --drawer D3 --verdict fail
  chipassay log --part 74LS00 --from 1979 --to 1981-W26
  chipassay log --lot depot-1 --csv > depot-1.csv`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			q, err := f.query()
			if err != nil {
				return err
			}
			q.All, q.NewestFirst, q.Limit = all, true, limit
			cut := !cmd.Flags().Changed("limit") && !form.machine()
			if cut {
				q.Limit = newest + 1 // one more reports whether there are more
			}
			return file.useAll(cmd, q.Lot, func(s *record.Store) error { return writeLog(cmd, s, q, form, cut) })
		},
	}
	file.readFlag(cmd)
	f.flags(cmd)
	form.flags(cmd)
	cmd.Flags().IntVar(&limit, "limit", 0, fmt.Sprintf("list at most this many (default: %d on a terminal list); 0 for all", newest))
	cmd.Flags().BoolVar(&all, "all", false, "also records that were replaced or taken back")
	cmd.AddCommand(logVerifyCommand(), logDigestCommand())
	return cmd
}

// writeLog lists the records asked for; of a list that is cut, the one over newest
// only shows that there are more.
func writeLog(cmd *cobra.Command, s *record.Store, q record.Query, form listing, cut bool) error {
	out := cmd.OutOrStdout()
	if form.asCSV {
		_, err := s.ExportCSV(cmd.Context(), out, q)
		return err
	}
	if form.asJSON {
		return s.ExportJSON(cmd.Context(), out, q)
	}
	var rows [][]string
	for r, err := range s.Find(cmd.Context(), q) {
		if err != nil {
			return err
		}
		rows = append(rows, logRow(r, q.All))
	}
	if len(rows) == 0 {
		return errors.New("no record matches; chipassay stock shows what there is")
	}
	more := cut && len(rows) > newest
	if more {
		rows = rows[:newest]
	}
	header := []string{"record", "day", "drawer", "type", "date code", "verdict", "grade", "reason or note"}
	if q.All {
		header = slices.Insert(header, 1, "row", "what")
	}
	if err := writeAligned(out, header, rows); err != nil {
		return err
	}
	if more {
		fmt.Fprintf(cmd.ErrOrStderr(), "the %d newest; --limit 0 lists all\n", newest)
	}
	return nil
}

// logRow is a chip in a list for a person, under its own number; with all rows, that of
// the row too, and what it is.
func logRow(r record.Record, all bool) []string {
	verdict := r.Verdict.Heading(assay.InPart(r.Reason))
	if r.Kind == record.Void {
		verdict = ""
	}
	row := []string{r.Bench + strconv.FormatInt(r.Chip, 10), r.Time.Local().Format(time.DateOnly), r.Drawer, r.Type, chip.DateCode(r), verdict, r.Grade.String(), shorten(chip.Remark(r), 72)}
	if all {
		what, _, _ := strings.Cut(chip.Words(r), ":")
		row = slices.Insert(row, 1, r.Bench+strconv.FormatInt(r.Serial, 10), what)
	}
	return row
}

// shorten cuts a text to so many characters.
func shorten(text string, most int) string {
	runes := []rune(text)
	if len(runes) <= most {
		return text
	}
	return string(runes[:most-1]) + "…"
}
