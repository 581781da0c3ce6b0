package main

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"chipassay/host/console"
	"chipassay/host/lot"
	"chipassay/host/record"
)

func lotCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "lot",
		Short: "Accept or reject a lot of chips on a sample, after ISO 2859-1",
		Long: `Accept or reject a lot of chips on a sample: single sampling by attributes after
ISO 2859-1, whose normal and tightened tables are those of MIL-STD-105E.

Open the lot before its first test; then draw the sample at random, and test
each chip with chipassay test PART --record --lot NAME. A chip is nonconforming
if it failed or its grade is reject; unless the lot was opened with --decides
function, also if it passed with a but. Lots are kept in the file of records and
included in its backups. records export writes only the chips; lot list --json
writes the lots.`,
	}
	cmd.AddCommand(lotOpenCommand(), lotStatusCommand(), lotListCommand(), lotProvesCommand(), lotNeededCommand())
	return cmd
}

// A lotLine is a lot and its plan as other programs read them.
type lotLine struct {
	Name    string          `json:"name"` // empty where the plan was only computed
	Source  string          `json:"source"`
	Opened  string          `json:"opened,omitempty"` // RFC 3339
	Resumed bool            `json:"resumed,omitempty"`
	Decides record.Deciding `json:"decides"` // function, levels
	lot.Plan
}

func lotLineOf(l record.Lot) lotLine {
	line := lotLine{Name: l.Name, Source: l.Source, Resumed: l.Resumed, Decides: cmp.Or(l.Decides, record.ByFunction), Plan: l.Plan}
	if l.Number > 0 {
		line.Opened = l.Time.Format(rfc3339)
	}
	return line
}

const rfc3339 = "2006-01-02T15:04:05.000Z07:00"

// writePlan prints a lot's plan; because says who chose the severity.
func writePlan(w io.Writer, l record.Lot, because string) {
	name, source := "a lot", ""
	if l.Name != "" {
		name = "lot " + console.Printable(l.Name)
	}
	if l.Source != "" {
		source = " from " + console.Printable(l.Source)
	}
	p := l.Plan
	fmt.Fprintf(w, "%s: %d chips%s\n", name, p.LotSize, source)
	fmt.Fprintf(w, "AQL %s %%, level %s, %s inspection%s; %s\n", lot.FormatAQL(p.AQL), p.Level, p.Severity, because, l.Decides.Words())
	letter := "code letter " + p.Letter
	if p.UsedLetter != p.Letter {
		letter += " (an arrow of the table leads to " + p.UsedLetter + ")"
	}
	sample := fmt.Sprintf("test %d chips", p.SampleSize)
	if p.WholeLot {
		sample = fmt.Sprintf("test all %d chips", p.SampleSize)
	}
	fmt.Fprintf(w, "%s: %s; Ac %d, Re %d: accepted with up to %d nonconforming, rejected from %d on\n", letter, sample, p.Accept, p.Reject, p.Reject-1, p.Reject)
}

// writeRisks says what a plan is worth.
func writeRisks(w io.Writer, p lot.Plan) {
	for _, r := range p.Risks() {
		line := strings.ToLower(r.Name) + ": " + r.Process
		if r.Lot != "" {
			line += "; " + r.Lot
		}
		fmt.Fprintln(w, line)
	}
}

func lotListCommand() *cobra.Command {
	var (
		file recordsFile
		form listing
	)
	cmd := &cobra.Command{
		Use:   "list",
		Short: "List the lots that were opened, with what is decided",
		Args:  cobra.NoArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			return file.useAll(cmd, "", func(s *record.Store) error {
				list, err := s.Inspections(cmd.Context())
				if err != nil {
					return err
				}
				return writeLots(cmd.OutOrStdout(), list, form)
			})
		},
	}
	file.readFlag(cmd)
	form.flags(cmd)
	return cmd
}

func writeLots(w io.Writer, list []record.Inspection, form listing) error {
	type line struct {
		lotLine
		lot.Standing
	}
	objects, rows := []line{}, [][]string{}
	for _, i := range list {
		objects = append(objects, line{lotLineOf(i.Lot), i.Standing})
		p := i.Lot.Plan
		rows = append(rows, []string{i.Name, i.Source, i.Time.Format("2006-01-02"), strconv.Itoa(p.LotSize), lot.FormatAQL(p.AQL), string(p.Level), string(p.Severity),
			strconv.Itoa(p.SampleSize), strconv.Itoa(p.Accept), strconv.Itoa(p.Reject), strconv.Itoa(i.Tested), strconv.Itoa(i.Nonconforming), string(i.Decision)})
	}
	if len(list) == 0 && !form.machine() {
		return errors.New("no lot was opened yet: chipassay lot open NAME --size 500 --aql 1.0 opens one")
	}
	return form.write(w, objects, strings.Split("name source opened size aql level severity sample_size accept reject tested nonconforming decision", " "), rows)
}
