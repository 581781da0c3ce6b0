package main

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"chipassay/host/handlist"
	"chipassay/host/marking"
	"chipassay/host/record"
	"chipassay/host/stock"
	"chipassay/vectors/part"
	"chipassay/vectors/substitute"
	"chipassay/vectors/tied"
)

func stockWantCommand(d *definitions) *cobra.Command {
	var (
		file    recordsFile
		form    listing
		columns string
	)
	cmd := &cobra.Command{
		Use:   "want LIST",
		Short: "Show what of a parts list you have, what can stand in, and what to buy",
		Long: `Show what of a parts list there is among your good chips and in which drawer, what
can stand in, and what is missing: a list to buy by. No chip is promised twice.

LIST is a CSV file or spreadsheet (.xlsx) with a header, such as a bill of materials of KiCad (Reference,
Value, Qty); --columns names other headers, of part, count, reference, left (set
where a part is not fitted) and note. What is printed on a chip does as its part. A
number without a family is given chips of any. Other components are left out by
their reference: R, C, D …`,
		Example: `  chipassay stock want signal-box.csv
  chipassay stock want repair.csv --columns "part=IC, count=Pieces"
  chipassay stock want signal-box.csv --csv`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			lines, err := partsList(cmd, args[0], columns)
			if err != nil {
				return err
			}
			return file.useAll(cmd, "", func(s *record.Store) error {
				have, err := stock.Held(cmd.Context(), s)
				if err != nil {
					return err
				}
				c, err := d.replacements()
				if err != nil {
					return err
				}
				done := working(cmd.ErrOrStderr(), "looking for what can stand in")
				list, err := stock.Want(lines, have, c)
				done()
				if err != nil {
					return err
				}
				return writeWanted(cmd.OutOrStdout(), list, form)
			})
		},
	}
	file.readFlag(cmd)
	form.flags(cmd)
	cmd.Flags().StringVar(&columns, "columns", "", `headers of the list's columns: "part=IC, count=Pieces, reference=Where"`)
	return cmd
}

// partsList reads a parts list.
func partsList(cmd *cobra.Command, name, columns string) ([]handlist.Line, error) {
	rows, err := handlist.Open(name, cmd.InOrStdin(), columns)
	if err != nil {
		return nil, err
	}
	if columns == "" {
		t, c, err := handlist.PartsList(rows)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		return t.Lines(c), nil
	}
	t, err := handlist.Headed(rows, columns)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	c, err := t.Named(columns, true)
	if err != nil {
		return nil, err
	}
	return t.Lines(c), nil
}

// replacements finds parts in the library, and what can stand in for them.
func (d *definitions) replacements() (c stock.Catalogue, err error) {
	lib, err := d.open()
	if err != nil {
		return c, err
	}
	parts, err := lib.Parts()
	if err != nil {
		return c, err
	}
	catalogue, err := tied.Catalogued(parts)
	if err != nil {
		return c, err
	}
	c.Find = func(typed string) (part.Type, bool, error) { return marking.Resolve(typed, lib) }
	c.Substitutes = func(t part.Type) (*substitute.Substitutes, error) {
		return substitute.For(t, parts, catalogue, substitute.Load{})
	}
	return c, nil
}

// A wantLine is what of one part there is, as other programs read it.
type wantLine struct {
	Part       string        `json:"part"`
	Wanted     int           `json:"wanted"`
	Have       int           `json:"have"`
	Where      []wantedChip  `json:"where"`
	Instead    []wantInstead `json:"instead"`
	Rewired    []wantInstead `json:"rewired"` // would do with other wiring, and is not counted
	Untested   int           `json:"untested"`
	Buy        int           `json:"buy"`
	References string        `json:"references"`
}

type wantedChip struct {
	Bench    string `json:"bench,omitempty"` // the letter before the number, of several
	Record   int64  `json:"record"`
	Type     string `json:"type"`
	Drawer   string `json:"drawer"`
	DateCode string `json:"date_code"`
}

type wantInstead struct {
	Type        string       `json:"type"`
	Count       int          `json:"count"`
	Where       []wantedChip `json:"where"`
	Differences []string     `json:"differences"`
	Changes     bool         `json:"changes"` // a difference asks for a change
}

type wantUnknown struct {
	Line       int    `json:"line"`
	Part       string `json:"part"`
	Count      int    `json:"count"`
	References string `json:"references"`
	Why        string `json:"why"`
}

type wantDocument struct {
	Parts           []wantLine    `json:"parts"`
	NotUnderstood   []wantUnknown `json:"not_understood"`
	NotFitted       int           `json:"not_fitted"`
	OtherComponents int           `json:"other_components"`
}

func chipsOf(list []stock.Owned) []wantedChip {
	chips := []wantedChip{}
	for _, o := range list {
		chips = append(chips, wantedChip{o.Bench, o.Chip, o.Type, o.Drawer, o.DateCode})
	}
	return chips
}

func insteadOf(list []stock.Instead) []wantInstead {
	all := []wantInstead{}
	for _, i := range list {
		all = append(all, wantInstead{i.Type, len(i.Chips), chipsOf(i.Chips), append([]string{}, i.Words...), i.Changes})
	}
	return all
}

func writeWanted(w io.Writer, list stock.Shopping, form listing) error {
	if !form.machine() {
		return writeWantedText(w, list)
	}
	d := wantDocument{[]wantLine{}, []wantUnknown{}, list.Left, list.Others}
	var rows [][]string
	for _, n := range list.Needs {
		d.Parts = append(d.Parts, wantLine{n.Part, n.Wanted, len(n.Chips), chipsOf(n.Chips), insteadOf(n.Instead), insteadOf(n.Could), len(n.Untested), n.Buy, n.References})
		rows = append(rows, []string{n.Part, strconv.Itoa(n.Wanted), strconv.Itoa(len(n.Chips)), places(n.Chips), inWords(n.Instead), inWords(n.Could),
			strconv.Itoa(len(n.Untested)), strconv.Itoa(n.Buy), n.References, ""})
	}
	for _, u := range list.Unknown {
		d.NotUnderstood = append(d.NotUnderstood, wantUnknown{u.Line.Line, u.Part, u.Count, u.References, u.Why})
		rows = append(rows, []string{u.Part, strconv.Itoa(u.Count), "", "", "", "", "", "", u.References, "not recognised: " + u.Why})
	}
	return form.write(w, d, []string{"part", "wanted", "have", "where", "instead", "rewired", "untested", "buy", "references", "remark"}, rows)
}

// places says where chips are, all of them: "2 in D3, 1 in D5".
func places(chips []stock.Owned) string {
	var order []string
	counts := map[string]int{}
	for _, o := range chips {
		d := o.Place()
		if counts[d]++; counts[d] == 1 {
			order = append(order, d)
		}
	}
	for i, d := range order {
		order[i] = fmt.Sprintf("%d in %s", counts[d], d)
	}
	return strings.Join(order, ", ")
}

// inWords says what stands in, where it is and what is other about it.
func inWords(list []stock.Instead) string {
	var all []string
	for _, i := range list {
		words := fmt.Sprintf("%s, %s", i.Type, places(i.Chips))
		if len(i.Words) > 0 {
			words += " (" + strings.Join(i.Words, "; ") + ")"
		}
		all = append(all, words)
	}
	return strings.Join(all, "; ")
}

func writeWantedText(w io.Writer, list stock.Shopping) error {
	var there, instead, buy [][]string
	counts := [3]int{}
	for _, n := range list.Needs {
		if len(n.Chips) > 0 {
			there = append(there, []string{fmt.Sprint(len(n.Chips)), n.Part, stock.Where(n.Chips), shorten(n.References, 40)})
			counts[0] += len(n.Chips)
		}
		for _, i := range n.Instead {
			changes := ""
			if i.Changes {
				changes = "change: "
			}
			instead = append(instead, []string{fmt.Sprint(len(i.Chips)), n.Part, i.Type, stock.Where(i.Chips), shorten(changes+strings.Join(i.Words, "; "), 72)})
			counts[1] += len(i.Chips)
		}
		if n.Buy > 0 {
			remark := []string{}
			if len(n.Untested) > 0 {
				remark = append(remark, fmt.Sprintf("%d not tested: %s", len(n.Untested), stock.Where(n.Untested)))
			}
			for _, i := range n.Could {
				remark = append(remark, fmt.Sprintf("%s from %s, %s", i.Type, stock.Where(i.Chips[:1]), strings.Join(i.Words, "; ")))
			}
			buy = append(buy, []string{fmt.Sprint(n.Buy), n.Part, shorten(n.References, 40), shorten(strings.Join(remark, " | "), 90)})
			counts[2] += n.Buy
		}
	}
	gap := ""
	for i, s := range []struct {
		title  string
		header []string
		rows   [][]string
	}{
		{"There and good", []string{"chips", "part", "where", "reference"}, there},
		{"Can stand in, same pins", []string{"chips", "for", "take", "where", "difference"}, instead},
		{"To buy", []string{"chips", "part", "reference", "or"}, buy},
	} {
		if len(s.rows) == 0 {
			continue
		}
		fmt.Fprintf(w, "%s%s: %d\n", gap, s.title, counts[i])
		if err := writeAligned(w, s.header, s.rows); err != nil {
			return err
		}
		gap = "\n"
	}
	if len(buy) == 0 && len(list.Needs) > 0 {
		fmt.Fprintf(w, "%sNothing is missing.\n", gap)
		gap = "\n"
	}
	if len(list.Unknown) > 0 {
		fmt.Fprintf(w, "%sNot recognised, look for them by hand: %d\n", gap, len(list.Unknown))
		var rows [][]string
		for _, u := range list.Unknown {
			rows = append(rows, []string{fmt.Sprint(u.Line.Line), u.Part, shorten(u.References, 40), shorten(u.Why, 90)})
		}
		if err := writeAligned(w, []string{"line", "part", "reference", "why"}, rows); err != nil {
			return err
		}
		gap = "\n"
	}
	if list.Others+list.Left > 0 {
		fmt.Fprintf(w, "%sleft out, in lines: %d of other components, %d of parts not fitted\n", gap, list.Others, list.Left)
	}
	return nil
}
