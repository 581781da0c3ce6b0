package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"chipassay/host/console"
	"chipassay/host/record"
	"chipassay/host/report"
	"chipassay/host/statistics"
)

func yieldCommand() *cobra.Command {
	var (
		file     recordsFile
		f        filter
		form     listing
		by, html string
	)
	cmd := &cobra.Command{
		Use:   "yield",
		Short: "Show what fraction of the tested chips is good, with its confidence interval, and what fails most",
		Long: `Show how many of the chips tested are good, with 95 % intervals, by part, type,
family, drawer, lot, date-code year or bench; and which pins and causes fail most.

` + inLines(statistics.Definition),
		Example: `  chipassay yield --by year --html yield.html
  chipassay yield --by drawer --family LS
  chipassay yield --lot depot-1 --json`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			by, err := record.OneOf("by", by, record.ByPart, record.ByType, record.ByFamily, record.ByDrawer, record.ByLot, record.ByYear, record.ByBench)
			if err != nil {
				return flagError(err)
			}
			q, err := f.query()
			if err != nil {
				return err
			}
			return file.useAll(cmd, q.Lot, func(s *record.Store) error {
				y, err := statistics.Collect(cmd.Context(), s, q, by)
				if err != nil {
					return err
				}
				if html != "" && len(y.Groups) > 0 { // no page of nothing
					if err := writeYieldPage(cmd.Context(), s, q, y, f, html); err != nil {
						return err
					}
				}
				return writeYield(cmd.OutOrStdout(), y, form)
			})
		},
	}
	flags := cmd.Flags()
	flags.StringVar(&by, "by", record.ByPart, "part, type, family, drawer, lot, year (of the date code) or bench")
	f.chipFlags(cmd)
	flags.StringVar(&html, "html", "", "write a page with charts to this HTML file too")
	file.readFlag(cmd)
	form.flags(cmd)
	return cmd
}

func writeYieldPage(ctx context.Context, s *record.Store, q record.Query, y statistics.Yields, f filter, name string) error {
	page, err := statistics.PageOf(ctx, s, q, y, f.Words(), 0)
	if err != nil {
		return err
	}
	return writeFile(name, page.WriteHTML)
}

func writeYield(w io.Writer, y statistics.Yields, form listing) error {
	if form.asCSV {
		var rows [][]string
		for _, g := range y.Groups {
			fraction, low, high := "", "", ""
			if g.Tested > 0 {
				fraction, low, high = fmt.Sprintf("%.4f", *g.Fraction), fmt.Sprintf("%.4f", g.Low), fmt.Sprintf("%.4f", g.High)
			}
			rows = append(rows, []string{g.Key, strconv.Itoa(g.Tested), strconv.Itoa(g.Good), fraction, low, high,
				strconv.Itoa(g.Doubtful), strconv.Itoa(g.Reject), strconv.Itoa(g.NotTested)})
		}
		return writeCSV(w, []string{y.By, "tested", "good", "fraction", "low", "high", "doubtful", "reject", "not_tested"}, rows)
	}
	if form.asJSON {
		return report.WriteJSON(w, y)
	}
	if len(y.Groups) == 0 {
		return errors.New("no chip matches; chipassay yield without filters counts all that were tested")
	}
	var rows [][]string
	for i, g := range append(y.Groups, y.Total) {
		name := g.Name(y.By)
		if i == len(y.Groups) {
			name = "all"
		}
		rows = append(rows, []string{name, strconv.Itoa(g.Tested), strconv.Itoa(g.Good), g.Share(), g.Interval(), strconv.Itoa(g.Doubtful), strconv.Itoa(g.Reject), strconv.Itoa(g.NotTested)})
	}
	if err := writeAligned(w, []string{y.ByName(), "tested", "good", "yield", "95 % interval", "doubtful", "reject", "not tested"}, rows); err != nil {
		return err
	}
	writeCommonest(w, y)
	fmt.Fprintf(w, "\n%s\n", inLines(y.Definition))
	return nil
}

// writeCommonest lists what failed most, by how many chips.
func writeCommonest(w io.Writer, y statistics.Yields) {
	if len(y.Pins) > 0 {
		fmt.Fprintln(w, "\nCommonest failing pins:")
		for _, p := range y.Pins {
			fmt.Fprintf(w, "%5d  %s pin %d\n", p.Chips, console.Printable(p.Type), p.Pin)
		}
	}
	if len(y.Causes) > 0 {
		fmt.Fprintln(w, "\nCommonest causes:")
		for _, c := range y.Causes {
			fmt.Fprintf(w, "%5d  %s\n", c.Chips, console.Printable(c.Key))
		}
	}
}

// inLines puts each sentence on a line of its own.
func inLines(text string) string { return strings.ReplaceAll(text, ". ", ".\n") }
