package main

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"chipassay/vectors/stimulus"
)

func vectorsCommand(d *definitions) *cobra.Command {
	var format, family string
	var limit int
	var short bool
	writers := map[string]func(*stimulus.Sequence, io.Writer) error{
		"table": func(s *stimulus.Sequence, w io.Writer) error { return s.WriteTable(w, limit) },
		"csv":   (*stimulus.Sequence).WriteCSV,
		"json":  (*stimulus.Sequence).WriteJSON,
		"vcd":   (*stimulus.Sequence).WriteVCD,
	}
	formats := strings.Join(slices.Sorted(maps.Keys(writers)), ", ")
	cmd := &cobra.Command{
		Use:   "vectors PART",
		Short: "Print the vectors that test a part",
		Example: `  chipassay vectors 7410
  chipassay vectors 74LS51 --format csv > 74ls51.csv
  chipassay vectors 7410 --format vcd > 7410.vcd`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			write, ok := writers[format]
			if !ok {
				return fmt.Errorf("there is no format %q: the formats are %s", format, formats)
			}
			p, err := d.planFor(args[0], family)
			if err != nil {
				return err
			}
			if short {
				if p, err = p.Short(); err != nil {
					return err
				}
			}
			return write(p.Sequence, cmd.OutOrStdout())
		},
	}
	cmd.Flags().StringVar(&format, "format", "table", "one of "+formats)
	cmd.Flags().BoolVar(&short, "short", false, "the fewest vectors that show every modelled fault")
	cmd.Flags().IntVar(&limit, "steps", 64, "how many steps the table shows; 0 for all")
	cmd.Flags().StringVar(&family, "family", "", "family, if PART names none: LS, HC, B …")
	return cmd
}
