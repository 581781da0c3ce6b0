package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"chipassay/host/assay"
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
--all lists every row, with its own number.`,
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
			return file.useLot(cmd, q.Lot, func(s *record.Store) error { return writeLog(cmd, s, q, form, cut) })
		},
	}
	file.flag(cmd)
	f.flags(cmd)
	form.flags(cmd)
	cmd.Flags().IntVar(&limit, "limit", 0, fmt.Sprintf("list at most this many (default: %d on a terminal list); 0 for all", newest))
	cmd.Flags().BoolVar(&all, "all", false, "also records that were replaced or taken back")
	cmd.AddCommand(logVerifyCommand(), logDigestCommand())
	return cmd
}

// A logLine is a record in a list, as other programs read it.
type logLine struct {
	Serial     int64  `json:"serial"`
	Kind       string `json:"kind"`
	Time       string `json:"time"` // RFC 3339
	Drawer     string `json:"drawer"`
	Lot        string `json:"lot"`
	Part       string `json:"part"`
	Type       string `json:"type"`
	Family     string `json:"family"`
	Marking    string `json:"marking"`
	DateCode   string `json:"date_code"`
	Year       int    `json:"date_year"` // 0 where there is no date code
	Verdict    string `json:"verdict"`
	Grade      string `json:"grade"`
	Reason     string `json:"reason"`
	PinsFailed []int  `json:"pins_failed"`
	Operator   string `json:"operator"`
	Note       string `json:"note"`
	Chip       int64  `json:"chip"` // serial of the chip's first test: its number
}

func lineOf(r record.Record) logLine {
	pins := r.PinsFailed
	if pins == nil {
		pins = []int{}
	}
	return logLine{r.Serial, string(r.Kind), r.Time.Format(time.RFC3339), r.Drawer, r.Lot, r.Part, r.Type, r.Family, r.Marking,
		r.DateCode, r.Year, string(r.Verdict), string(r.Grade), r.Reason, pins, r.Operator, r.Note, r.Chip}
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
		return writeLines(cmd, s, q)
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
	words := r.Reason
	if r.Verdict == assay.Pass && r.Note != "" {
		words = r.Note
	} else if r.Note != "" {
		words += " (" + r.Note + ")"
	}
	row := []string{strconv.FormatInt(r.Chip, 10), r.Time.Local().Format(time.DateOnly), r.Drawer, r.Type, dateOf(r), verdict, r.Grade.String(), shorten(words, 72)}
	if all {
		what, _, _ := strings.Cut(historyWords(r), ":")
		row = slices.Insert(row, 1, strconv.FormatInt(r.Serial, 10), what)
	}
	return row
}

// dateOf is the date code with its year.
func dateOf(r record.Record) string {
	if r.DateCode == "" {
		return ""
	}
	return fmt.Sprintf("%s (%d)", r.DateCode, r.Year)
}

// shorten cuts a text to so many characters.
func shorten(text string, most int) string {
	runes := []rune(text)
	if len(runes) <= most {
		return text
	}
	return string(runes[:most-1]) + "…"
}

// writeLines writes an array of logLine, one a line, as they are read.
func writeLines(cmd *cobra.Command, s *record.Store, q record.Query) error {
	out := cmd.OutOrStdout()
	lead := "["
	for r, err := range s.Find(cmd.Context(), q) {
		if err != nil {
			return err
		}
		object, err := json.Marshal(lineOf(r))
		if err != nil {
			return err
		}
		if _, err := fmt.Fprintf(out, "%s\n  %s", lead, object); err != nil {
			return err
		}
		lead = ","
	}
	if lead == "[" {
		_, err := io.WriteString(out, "[]\n")
		return err
	}
	_, err := io.WriteString(out, "\n]\n")
	return err
}
