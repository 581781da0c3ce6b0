package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"chipassay/vectors/library"
	"chipassay/vectors/part"
)

func partsCommand(d *definitions) *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "parts [QUERY]",
		Short: "List the parts of the library, or those that match all words of QUERY",
		Example: `  chipassay parts
  chipassay parts nand
  chipassay parts "open-collector 14 74LS"
  chipassay parts "static RAM 1024"`,
		RunE: func(cmd *cobra.Command, args []string) error {
			lib, err := d.open()
			if err != nil {
				return err
			}
			all, err := lib.Parts()
			if err != nil {
				return err
			}
			found := library.Search(all, strings.Join(args, " "))
			if asJSON {
				return writePartsJSON(cmd.OutOrStdout(), found)
			}
			if len(found) == 0 {
				return fmt.Errorf("no part matches %q; try fewer words, such as nand, counter, 74LS, 16", strings.Join(args, " "))
			}
			for _, p := range found {
				fmt.Fprintf(cmd.OutOrStdout(), "%-7s %-58s %2d pins  %s\n", p.Number, p.Title, len(p.Variants[0].Pins), strings.Join(familyNames(p), " "))
			}
			return nil
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print an array of objects")
	return cmd
}

func familyNames(p *part.Part) []string {
	var names []string
	for _, f := range p.Families() {
		names = append(names, f.Name)
	}
	return names
}

// writePartsJSON writes an array of number, title, pins, families and kind, and of
// a memory the words and the bits of each.
func writePartsJSON(w io.Writer, parts []*part.Part) error {
	type row struct {
		Number   string   `json:"number"`
		Title    string   `json:"title"`
		Pins     int      `json:"pins"`
		Families []string `json:"families"`
		Kind     string   `json:"kind"`
		Words    int      `json:"words,omitempty"`
		Bits     int      `json:"bits,omitempty"`
	}
	rows := []row{}
	for _, p := range parts {
		r := row{Number: p.Number, Title: p.Title, Pins: len(p.Variants[0].Pins), Families: familyNames(p), Kind: p.Kind}
		if m := p.Variants[0].Memory; m != nil {
			r.Words, r.Bits = m.Words, m.Bits
		}
		rows = append(rows, r)
	}
	return writeJSON(w, rows)
}

// writeJSON writes a value as indented JSON.
func writeJSON(w io.Writer, value any) error {
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	return e.Encode(value)
}
