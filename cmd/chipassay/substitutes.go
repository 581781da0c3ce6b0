package main

import (
	"time"

	"github.com/spf13/cobra"

	"chipassay/host/marking"
	"chipassay/host/report"
	"chipassay/host/stock"
	"chipassay/vectors/part"
	"chipassay/vectors/substitute"
	"chipassay/vectors/tied"
)

// substitutesFlags are the flags of the substitutes command.
type substitutesFlags struct {
	definitions            *definitions
	file                   recordsFile
	family, load, dateCode string
	have, full, asJSON     bool
}

func substitutesCommand(d *definitions) *cobra.Command {
	f := substitutesFlags{definitions: d}
	cmd := &cobra.Command{
		Use:   "substitutes PART",
		Short: "Show what can replace a part, and what to change for it",
		Long: `Show what can replace a part: other families and numbers of the same pins and
function, the same function on other pins, and parts that have it with inputs tied;
each with what differs by the DC tables and what to change.

Same function means that the substitute answers the part's whole test in simulation;
of what remembers, also what a random walk of its inputs asks.`,
		Example: `  chipassay substitutes 7410
  chipassay substitutes 7410 --family LS --load "5 x 74LS, 1 LED"
  chipassay substitutes 74LS00 --have --date-code 8123`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error { return f.run(cmd, args[0]) },
	}
	flags := cmd.Flags()
	flags.StringVar(&f.family, "family", "", "family, if PART names none: LS, HC, B …")
	flags.StringVar(&f.load, "load", "", "what an output drives: \"5 x 74LS, 1 LED\"")
	flags.StringVar(&f.dateCode, "date-code", "", "with --have: the date code to be near to: YYWW, YWW, or a month as marked")
	flags.BoolVar(&f.full, "full", false, "print everything instead of ten lines")
	flags.BoolVar(&f.asJSON, "json", false, "print the result as one JSON object")
	haveFlag(cmd, &f.have, &f.file)
	return cmd
}

func (f substitutesFlags) run(cmd *cobra.Command, typed string) error {
	typ, err := f.definitions.typeOf(typed, f.family)
	if err != nil {
		return err
	}
	load, err := substitute.ParseLoad(f.load)
	if err != nil {
		return err
	}
	day, err := f.day(typ)
	if err != nil {
		return err
	}
	lib, err := f.definitions.open()
	if err != nil {
		return err
	}
	parts, err := lib.Parts()
	if err != nil {
		return err
	}
	catalogue, err := tied.Catalogued(parts)
	if err != nil {
		return err
	}
	found, err := substitute.For(typ, parts, catalogue, load)
	if err != nil {
		return err
	}
	var chips func(substitute.Substitute) []stock.Owned
	var places func(substitute.Substitute) string
	if f.have {
		have, err := f.file.possessions(cmd)
		if err != nil {
			return err
		}
		byType := map[string][]stock.Owned{}
		for _, list := range have {
			for _, p := range list {
				byType[p.Type] = append(byType[p.Type], p)
			}
		}
		found.Own = stock.Where(stock.Nearest(byType[typ.Name()], day))
		found.Only(func(typ string) bool { return len(byType[typ]) > 0 })
		chips = func(s substitute.Substitute) (all []stock.Owned) {
			for _, typ := range s.Types() {
				all = append(all, byType[typ]...)
			}
			return stock.Nearest(all, day)
		}
		places = func(s substitute.Substitute) string { return stock.Where(chips(s)) }
	}
	if f.asJSON {
		return report.WriteJSON(cmd.OutOrStdout(), documentsOf(found, chips))
	}
	return found.WriteText(cmd.OutOrStdout(), f.full, places)
}

// day is the date to which chips in the records are to be near; zero for none.
func (f substitutesFlags) day(typ part.Type) (time.Time, error) {
	if f.dateCode == "" {
		return noDay, nil
	}
	d, err := marking.ReadDateCode(f.dateCode, marking.MadeSince(typ.Family), time.Now())
	return d.From.Time, err
}

// substitutesDocument is the result as other programs read it.
type substitutesDocument struct {
	Part      string               `json:"part"`
	Own       string               `json:"own,omitempty"` // where the type itself is
	DropIn    []substituteDocument `json:"drop_in"`
	OtherPins []substituteDocument `json:"other_pins"`
	WithTies  []substituteDocument `json:"with_ties"`
}

type substituteDocument struct {
	Part        string   `json:"part"`
	Families    []string `json:"families"`
	Differences []string `json:"differences"`
	Changes     []string `json:"changes"` // those of the differences that ask for a change
	// Pins are the substitute's for the part's, by name, where any has another name.
	Pins map[string]string `json:"pins,omitempty"`
	Have []string          `json:"have,omitempty"`
}

func documentsOf(s *substitute.Substitutes, chips func(substitute.Substitute) []stock.Owned) substitutesDocument {
	list := func(all []substitute.Substitute) []substituteDocument {
		documents := []substituteDocument{}
		for _, one := range all {
			d := substituteDocument{Part: one.Part.Number, Differences: []string{}, Changes: []string{}, Pins: one.Pins}
			for _, f := range one.Families {
				d.Families = append(d.Families, f.Name)
			}
			for _, difference := range one.Differences {
				d.Differences = append(d.Differences, difference.Words)
				if difference.Change {
					d.Changes = append(d.Changes, difference.Words)
				}
			}
			if chips != nil {
				for _, p := range chips(one) {
					d.Have = append(d.Have, stock.Where([]stock.Owned{p}))
				}
			}
			documents = append(documents, d)
		}
		return documents
	}
	return substitutesDocument{s.Of.Name(), s.Own, list(s.DropIn), list(s.OtherPins), list(s.WithTies)}
}
