package main

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"chipassay/host/report"
	"chipassay/host/stock"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/tied"
)

// tieFlags are the flags of the tie command.
type tieFlags struct {
	definitions  *definitions
	file         recordsFile
	find         string
	have         bool
	full, asJSON bool
}

func tieCommand(d *definitions) *cobra.Command {
	f := tieFlags{definitions: d}
	cmd := &cobra.Command{
		Use:   "tie PART PIN=LEVEL...",
		Short: "Work out what a part becomes with inputs tied, or which part with inputs tied gives a function",
		Long: `Work out what each output becomes when inputs are held low (L) or high (H), or
joined to another input (1B=1A): the least sum of products, the parts with such a
gate, and how each input is tied in the family. A pin may be given by its number.

With --find it goes the other way: which parts give a function, fewest ties first.
The inputs have names of your own, the operators are ! & | ^; or as textbooks have
them, a' for NOT a, + for OR, and * or a dot for AND.`,
		Example: `  chipassay tie 74LS51 1D=L 1E=L 1F=L
  chipassay tie 7400 1B=1A
  chipassay tie --find "!(a & b)" --have`,
		RunE: func(cmd *cobra.Command, args []string) error {
			if f.find != "" {
				return f.printWays(cmd, args)
			}
			return f.printPage(cmd, args)
		},
	}
	flags := cmd.Flags()
	flags.StringVar(&f.find, "find", "", "a function to look for, such as \"!(a & b)\"")
	flags.BoolVar(&f.full, "full", false, "print everything instead of ten lines")
	flags.BoolVar(&f.asJSON, "json", false, "print the result as one JSON object")
	haveFlag(cmd, &f.have, &f.file)
	cmd.ValidArgsFunction = cobra.CompletionFunc(completeTies(d))
	return cmd
}

// completeTies completes a part's number, and behind it the ties of its inputs.
func completeTies(d *definitions) completer {
	return func(cmd *cobra.Command, args []string, begun string) ([]string, cobra.ShellCompDirective) {
		return words(func(*cobra.Command) (list []string) {
			if len(args) == 0 {
				return d.numbers()
			}
			typ, _, err := d.resolve(args[0])
			if err != nil {
				return nil
			}
			for _, p := range typ.Variant.Pins {
				if p.Role == part.Input && p.Tied == part.NotTied {
					list = append(list, p.Name+"=L", p.Name+"=H")
				}
			}
			return list
		})(cmd, args, begun)
	}
}

// catalogue lists the gates of the whole library.
func (d *definitions) catalogue() (*tied.Catalogue, error) {
	parts, err := d.all()
	if err != nil {
		return nil, err
	}
	return tied.Catalogued(parts)
}

func (f tieFlags) printPage(cmd *cobra.Command, args []string) error {
	switch {
	case len(args) < 2:
		return errors.New(`name a part and its ties: chipassay tie 74LS51 1D=L 1E=L 1F=L; or --find "!(a & b)"`)
	case f.have:
		return errors.New("--have is for --find")
	}
	typ, err := f.definitions.typed(args[0])
	if err != nil {
		return err
	}
	ties, err := parseTies(typ, args[1:])
	if err != nil {
		return err
	}
	catalogue, err := f.definitions.catalogue()
	if err != nil {
		return err
	}
	page, err := tied.PageOf(typ, ties, catalogue)
	switch {
	case err != nil:
		return err
	case f.asJSON:
		return report.WriteJSON(cmd.OutOrStdout(), page.Document())
	}
	return page.WriteText(cmd.OutOrStdout(), f.full)
}

// parseTies reads the ties of a part, which is no memory.
func parseTies(typ part.Type, words []string) ([]tied.Tie, error) {
	var memory *logic.MemoryError
	if errors.As(logic.RefuseMemory(typ.Variant), &memory) {
		return nil, fmt.Errorf("%s is a memory: what it becomes with inputs tied is what is stored in it", typ.Name())
	}
	return tied.Parse(typ.Variant, words)
}

// oneUse is the type as it is tested with the inputs of --tied held.
func (f testFlags) oneUse(typ part.Type) (part.Type, error) {
	if len(f.tied) == 0 {
		return typ, nil
	}
	if f.keeping.lot.name != "" {
		return typ, errors.New("--tied is for one use of one chip, which decides nothing about a lot: leave --lot out")
	}
	ties, err := parseTies(typ, f.tied)
	switch {
	case err != nil:
		return typ, err
	case len(ties) == 0:
		return typ, errors.New("--tied names no input: write PIN=LEVEL, such as --tied 1D=L,1E=L")
	}
	use, err := tied.Of(typ.Variant, ties)
	if err != nil {
		return typ, err
	}
	typ.Variant, err = use.Variant()
	return typ, err
}

// A wayDocument is a way to a function as other programs read it.
type wayDocument struct {
	Part     string            `json:"part"`
	Families []string          `json:"families"`
	Output   string            `json:"output"`
	Stage    string            `json:"stage"`
	Inputs   map[string]string `json:"inputs"` // names of the function to pins
	Ties     []string          `json:"ties"`
	Have     []string          `json:"have,omitempty"` // drawer and date code of each good chip
}

func documentOf(w tied.Way, names []string, have []stock.Owned) wayDocument {
	v := w.Variant
	d := wayDocument{Part: v.Part.Number, Output: v.Pins[w.Pin-1].Name, Stage: w.Stage.String(), Inputs: map[string]string{}, Ties: []string{}}
	for _, f := range v.Families {
		d.Families = append(d.Families, f.Name)
	}
	for i, name := range names {
		d.Inputs[name] = v.Pins[w.Of(i)-1].Name
	}
	for _, t := range w.Ties() {
		d.Ties = append(d.Ties, t.In(v))
	}
	for _, p := range have {
		d.Have = append(d.Have, stock.Where([]stock.Owned{p}))
	}
	return d
}

// fewWays is how many ways are listed where not all are asked for.
const fewWays = 9

func (f tieFlags) printWays(cmd *cobra.Command, args []string) error {
	if len(args) > 0 {
		return fmt.Errorf("--find takes no part (%s)", strings.Join(args, " "))
	}
	wanted, err := tied.Want(f.find)
	if err != nil {
		return err
	}
	var have func(*part.Variant) []stock.Owned
	var among func(*part.Variant) bool
	if f.have {
		byPart, err := f.file.possessions(cmd)
		if err != nil {
			return err
		}
		have = func(v *part.Variant) (all []stock.Owned) { // a 74LS54 is not wired as a 7454 is
			for _, o := range byPart[v.Part.Number] {
				if slices.ContainsFunc(v.Families, func(f *part.Family) bool { return f.TypeName(v.Part.Number) == o.Type }) {
					all = append(all, o)
				}
			}
			return stock.Nearest(all, noDay)
		}
		among = func(v *part.Variant) bool { return len(have(v)) > 0 }
	}
	catalogue, err := f.definitions.catalogue()
	if err != nil {
		return err
	}
	limit := fewWays + 1
	if f.full || f.asJSON {
		limit = 0
	}
	ways := catalogue.Find(wanted.Function, limit, among)
	if f.asJSON {
		documents := []wayDocument{}
		for _, w := range ways {
			var chips []stock.Owned
			if have != nil {
				chips = have(w.Variant)
			}
			documents = append(documents, documentOf(w, wanted.Names, chips))
		}
		return report.WriteJSON(cmd.OutOrStdout(), struct {
			Ways []wayDocument `json:"ways"`
		}{documents})
	}
	return f.writeWays(cmd.OutOrStdout(), wanted, ways, have)
}

func (f tieFlags) writeWays(w io.Writer, wanted tied.Wanted, ways []tied.Way, have func(*part.Variant) []stock.Owned) error {
	if len(ways) == 0 {
		among := "no part of the library"
		if f.have {
			among = "none of your good chips"
		}
		_, err := fmt.Fprintf(w, "none: %s gives %s with inputs tied\n", among, f.find)
		return err
	}
	for i, way := range ways {
		if i == fewWays && !f.full {
			fmt.Fprintln(w, "… and others: --full")
			break
		}
		name, where := way.Variant.Families[0].TypeName(way.Variant.Part.Number), ""
		if have != nil {
			chips := have(way.Variant)
			var types []string
			for _, o := range chips {
				if !slices.Contains(types, o.Type) {
					types = append(types, o.Type)
				}
			}
			name, where = strings.Join(types, " "), "; in "+stock.Where(chips)
		}
		line := fmt.Sprintf("%-9s %s%s", name, way.Line(wanted.Names), where)
		if r := []rune(line); len(r) > 80 && !f.full {
			line = string(r[:79]) + "…"
		}
		if _, err := fmt.Fprintln(w, line); err != nil {
			return err
		}
	}
	return nil
}
