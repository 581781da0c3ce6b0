package main

import (
	"bufio"
	"cmp"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"chipassay/host/console"
	"chipassay/host/handlist"
	"chipassay/host/marking"
	"chipassay/host/record"
	"chipassay/vectors/part"
)

// A handList is a list kept by hand that is taken over into the records.
type handList struct {
	columns     string
	dryRun, yes bool
}

func (l *handList) flags(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringVar(&l.columns, "columns", "", `take over a list kept by hand; its headers: "part=IC, date=Code, drawer=Lade"`)
	flags.BoolVar(&l.dryRun, "dry-run", false, "with --columns: only show what would be added")
	flags.BoolVar(&l.yes, "yes", false, "with --columns: add without asking")
	cmd.MarkFlagsMutuallyExclusive("dry-run", "yes")
}

// take shows what a list would add, asks where a person can answer, and adds it.
func (l *handList) take(cmd *cobra.Command, d *definitions, file *recordsFile, name string) error {
	rows, err := handlist.Open(name, cmd.InOrStdin(), l.columns)
	if err != nil {
		return err
	}
	t, err := handlist.Headed(rows, l.columns)
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	c, err := t.Named(l.columns, false)
	if err != nil {
		return err
	}
	lib, err := d.open()
	if err != nil {
		return err
	}
	over, err := t.TakeOver(c, name, time.Now(), func(typed string) (part.Type, bool, error) { return marking.Resolve(typed, lib) })
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	if _, err := file.existing(); err == nil {
		s, err := file.forChips(cmd.Context(), false)
		if err != nil {
			return err
		}
		if err := errors.Join(over.Skip(cmd.Context(), s, name), s.Close()); err != nil {
			return err
		}
	}
	if err := writeTakeover(cmd.OutOrStdout(), over, t.Words(c)); err != nil {
		return err
	}
	if !l.agreed(cmd, len(over.Records)) {
		return nil
	}
	return addTaken(cmd, file, over.Records)
}

// agreed reports whether chips are to be added, and says why not.
func (l *handList) agreed(cmd *cobra.Command, n int) bool {
	why := ""
	switch {
	case n == 0:
		why = "there is nothing to add"
	case l.dryRun:
		why = "nothing was added: --dry-run"
	case l.yes:
		return true
	case !console.IsTerminal(os.Stdin) || !console.IsTerminal(os.Stderr):
		why = "nothing was added: --yes adds them"
	default:
		fmt.Fprint(cmd.ErrOrStderr(), "Add them? Rows are never removed again. [y/N] ")
		line, _ := bufio.NewReader(cmd.InOrStdin()).ReadString('\n')
		if answer := strings.ToLower(strings.TrimSpace(line)); answer == "y" || answer == "yes" {
			return true
		}
		why = "nothing was added"
	}
	fmt.Fprintln(cmd.OutOrStdout(), why)
	return false
}

// addTaken adds the chips of a list, and makes the file of records if there is none.
func addTaken(cmd *cobra.Command, file *recordsFile, chips []record.Record) (err error) {
	s, err := file.forChips(cmd.Context(), false)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	if err := s.AppendAll(cmd.Context(), chips); err != nil {
		return err
	}
	fmt.Fprintf(cmd.OutOrStdout(), "%s: %s added as not tested\n", s.Path(), someChips(len(chips)))
	sayLate(cmd, s)
	return nil
}

// mostShown is how many lines of each kind are shown.
const mostShown = 15

// writeTakeover shows what a list would add.
func writeTakeover(w io.Writer, over handlist.Takeover, columns string) error {
	fmt.Fprintf(w, "%s\n\n%d lines are %s, not tested by this program:\n", columns, over.Rows, someChips(len(over.Records)+over.Duplicates))
	type key struct{ typ, drawer string }
	counts, order := map[key]int{}, []key{}
	for _, r := range over.Records {
		k := key{cmp.Or(r.Type, "?"), cmp.Or(r.Drawer, "no drawer")}
		if counts[k]++; counts[k] == 1 {
			order = append(order, k)
		}
	}
	var rows [][]string
	for _, k := range order[:min(len(order), mostShown)] {
		rows = append(rows, []string{strconv.Itoa(counts[k]), k.typ, k.drawer})
	}
	if len(rows) > 0 {
		if err := writeAligned(w, []string{"chips", "type", "drawer"}, rows); err != nil {
			return err
		}
	}
	if more := len(order) - mostShown; more > 0 {
		fmt.Fprintf(w, "… %d more\n", more)
	}
	if over.Duplicates > 0 {
		fmt.Fprintf(w, "in the records from this list already: %s\n", someChips(over.Duplicates))
	}
	if over.Alike > 0 {
		fmt.Fprintf(w, "as %s from %s in the records: is it that list under another name?\n", someChips(over.Alike), console.Printable(over.Like))
	}
	if len(over.Doubts) > 0 {
		fmt.Fprintf(w, "\nNot understood, kept as a note: %d\n", len(over.Doubts))
		doubts := eachOnce(over.Doubts)
		for _, d := range doubts[:min(len(doubts), mostShown)] {
			fmt.Fprintf(w, "  %s\n", console.Printable(d))
		}
		if more := len(doubts) - mostShown; more > 0 {
			fmt.Fprintf(w, "  … %d more\n", more)
		}
	}
	if n := len(over.Without); n > 0 {
		fmt.Fprintf(w, "\nwithout a part, with a count of 0 or a sum, and left out: %d, the first in line %d\n", n, over.Without[0])
	}
	fmt.Fprintln(w)
	return nil
}

// eachOnce says what is not understood, once where several lines have the same.
func eachOnce(doubts []handlist.Doubt) (said []string) {
	lines, order := map[string][]int{}, []string{}
	for _, d := range doubts {
		if lines[d.Why] == nil {
			order = append(order, d.Why)
		}
		lines[d.Why] = append(lines[d.Why], d.Line)
	}
	for _, why := range order {
		more := ""
		if n := len(lines[why]) - 1; n > 0 {
			more = fmt.Sprintf(" and %d more", n)
		}
		said = append(said, fmt.Sprintf("line %d%s: %s", lines[why][0], more, why))
	}
	return said
}

// alone refuses the flags of hand-kept lists for what export wrote.
func (l *handList) alone() error {
	if l.dryRun || l.yes {
		return errors.New("--dry-run and --yes are for lists kept by hand: add --columns")
	}
	return nil
}

// someChips counts chips in words.
func someChips(n int) string {
	if n == 1 {
		return "1 chip"
	}
	return fmt.Sprintf("%d chips", n)
}
