package main

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"chipassay/host/console"
	"chipassay/host/report"
)

// A listing says in which form a list is printed: aligned for a person, or as
// JSON or CSV for other programs.
type listing struct{ asJSON, asCSV bool }

// flags gives a command the flags --json and --csv.
func (l *listing) flags(cmd *cobra.Command) {
	cmd.Flags().BoolVar(&l.asJSON, "json", false, "print JSON")
	cmd.Flags().BoolVar(&l.asCSV, "csv", false, "print CSV with a header")
	cmd.MarkFlagsMutuallyExclusive("json", "csv")
}

// machine reports whether other programs are to read the list.
func (l listing) machine() bool { return l.asJSON || l.asCSV }

// write prints rows under a header, or objects, which stand for the same rows, as JSON.
func (l listing) write(w io.Writer, objects any, header []string, rows [][]string) error {
	switch {
	case l.asJSON:
		return report.WriteJSON(w, objects)
	case l.asCSV:
		return writeCSV(w, header, rows)
	}
	return writeAligned(w, header, rows)
}

// writeAligned writes a table for a terminal, under a header with blanks for underscores.
func writeAligned(w io.Writer, header []string, rows [][]string) error {
	var b strings.Builder
	t := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, strings.ReplaceAll(strings.Join(header, "\t"), "_", " "))
	for _, row := range rows {
		cells := make([]string, len(row))
		for i, c := range row {
			cells[i] = console.Printable(c)
		}
		fmt.Fprintln(t, strings.Join(cells, "\t"))
	}
	if err := t.Flush(); err != nil {
		return err
	}
	for line := range strings.Lines(b.String()) {
		if _, err := fmt.Fprintln(w, strings.TrimRight(line, " \n")); err != nil {
			return err
		}
	}
	return nil
}
