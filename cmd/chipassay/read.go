package main

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"chipassay/host/marking"
)

func readCommand(d *definitions) *cobra.Command {
	return &cobra.Command{
		Use:   "read MARKING...",
		Short: "Read what is printed on a chip: part, family, package, date code",
		Example: `  chipassay read "XY7438N 7432"
  chipassay read XY14011BCP 8211
  chipassay read XY4164-15 8340`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			lib, err := d.open()
			if err != nil {
				return err
			}
			m, err := marking.Read(strings.Join(args, "\n"), lib, time.Now())
			if errors.Is(err, marking.ErrNothing) {
				return couldNotTest(err)
			}
			if err != nil {
				return err
			}
			printMarking(cmd.OutOrStdout(), m)
			return nil
		},
	}
}

func printMarking(w io.Writer, m marking.Marking) {
	for _, p := range m.Parts {
		fmt.Fprintf(w, "part         %s, from %s: %s\n", p.Type, p.Token, p.Part.Title)
		family := "not given by the marking"
		if p.Family != nil {
			family = p.Family.Name + ", " + p.Family.Title
		}
		fmt.Fprintf(w, "family       %s\n", family)
		for _, fact := range []struct{ label, text string }{
			{"numbered", p.Chain}, {"maker", p.Prefix}, {"package", p.Package}, {"speed", p.Speed}, {"temperature", p.Temperature},
		} {
			if fact.text != "" {
				fmt.Fprintf(w, "%-12s %s\n", fact.label, fact.text)
			}
		}
		if refusal := p.Part.Variants[0].Refusal; refusal != "" {
			fmt.Fprintf(w, "refused      the adapter must not power it: %s\n", refusal)
		}
	}
	for _, date := range m.Dates {
		fmt.Fprintf(w, "date code    %s\n", date.Code.Days())
	}
	for _, note := range m.Notes {
		fmt.Fprintf(w, "note         %s\n", note)
	}
}
