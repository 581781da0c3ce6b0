package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"chipassay/host/report"
	"chipassay/vectors/library"
	"chipassay/vectors/part"
)

func partsCommand(d *definitions) *cobra.Command {
	var asJSON, missing bool
	cmd := &cobra.Command{
		Use:   "parts [QUERY]",
		Short: "List the parts of the library, or those that match all words of QUERY",
		Example: `  chipassay parts
  chipassay parts nand
  chipassay parts "open-collector 14 74LS"
  chipassay parts "static RAM 1024"
  chipassay parts --missing`,
		RunE: func(cmd *cobra.Command, args []string) error {
			query := strings.Join(args, " ")
			if missing {
				return writeMissing(cmd.OutOrStdout(), query, asJSON)
			}
			lib, err := d.open()
			if err != nil {
				return err
			}
			all, err := lib.Parts()
			if err != nil {
				return err
			}
			found, named := library.Search(all, query), otherNames(all, query)
			if asJSON {
				return writePartsJSON(cmd.OutOrStdout(), found, named)
			}
			if len(found)+len(named) == 0 {
				if m := library.MissingPart(strings.ToUpper(query)); m != nil {
					return fmt.Errorf("not in this library: %w", m)
				}
				return fmt.Errorf("no part matches %q; try fewer words, such as nand, counter, 74LS, 16", query)
			}
			for _, p := range found {
				fmt.Fprintf(cmd.OutOrStdout(), "%-7s %-58s %2d pins  %s\n", p.Number, p.Title, len(p.Variants[0].Pins), strings.Join(familyNames(p), " "))
			}
			if query == "" {
				return nil // hundreds of other names tell a reader of the whole list nothing
			}
			for _, n := range named {
				fmt.Fprintf(cmd.OutOrStdout(), "%-7s is another name of the %s\n", n.Number, n.Of)
			}
			return nil
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print an array of objects")
	cmd.Flags().BoolVar(&missing, "missing", false, "list what is known by number and not defined, with the reason")
	return cmd
}

// An otherName is a number that is only another name of a part.
type otherName struct {
	library.Alias
	part *part.Part
}

// otherNames are the names that begin with the only word of a query, or all of them
// where there is no query.
func otherNames(all []*part.Part, query string) (names []otherName) {
	byNumber := map[string]*part.Part{}
	for _, p := range all {
		byNumber[p.Number] = p
	}
	for _, a := range library.Aliases() {
		number, _ := a.Part()
		if p := byNumber[number]; p != nil && strings.HasPrefix(a.Number, strings.ToUpper(query)) {
			names = append(names, otherName{a, p})
		}
	}
	return names
}

// writeMissing lists the parts that are known and not defined whose number, title or reason
// holds a query.
func writeMissing(w io.Writer, query string, asJSON bool) error {
	type row struct {
		Number string `json:"number"`
		Title  string `json:"title"`
		Reason string `json:"reason"`
	}
	rows := []row{}
	for _, m := range library.MissingParts() {
		if strings.Contains(strings.ToLower(m.Number+" "+m.Title+" "+m.Reason), strings.ToLower(query)) {
			rows = append(rows, row{m.Number, m.Title, m.Reason})
		}
	}
	if asJSON {
		return report.WriteJSON(w, rows)
	}
	if len(rows) == 0 {
		return fmt.Errorf("nothing that is missing matches %q", query)
	}
	for _, r := range rows {
		fmt.Fprintf(w, "%-12s %s: %s\n", r.Number, r.Title, r.Reason)
	}
	return nil
}

func familyNames(p *part.Part) []string {
	var names []string
	for _, f := range p.Families() {
		names = append(names, f.Name)
	}
	return names
}

// writePartsJSON writes an array of number, title, pins, families and kind, and of
// a memory the words and the bits of each. A number that is only another name has
// the part's facts, and alias_of.
func writePartsJSON(w io.Writer, parts []*part.Part, named []otherName) error {
	type row struct {
		Number   string   `json:"number"`
		Title    string   `json:"title"`
		Pins     int      `json:"pins"`
		Families []string `json:"families"`
		Kind     string   `json:"kind"`
		Words    int      `json:"words,omitempty"`
		Bits     int      `json:"bits,omitempty"`
		AliasOf  string   `json:"alias_of,omitempty"`
	}
	rows := []row{}
	of := func(p *part.Part) row {
		r := row{Number: p.Number, Title: p.Title, Pins: len(p.Variants[0].Pins), Families: familyNames(p), Kind: p.Kind}
		if m := p.Variants[0].Memory; m != nil {
			r.Words, r.Bits = m.Words, m.Bits
		}
		return r
	}
	for _, p := range parts {
		rows = append(rows, of(p))
	}
	for _, n := range named {
		r := of(n.part)
		r.Number, r.AliasOf = n.Number, n.Of
		rows = append(rows, r)
	}
	return report.WriteJSON(w, rows)
}
