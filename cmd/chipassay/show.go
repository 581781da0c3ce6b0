package main

import (
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"chipassay/host/adapter"
	"chipassay/vectors/library"
	"chipassay/vectors/part"
	"chipassay/vectors/sheet"
)

func showCommand(d *definitions) *cobra.Command {
	var svg string
	cmd := &cobra.Command{
		Use:   "show PART",
		Short: "Show a part's pinout, function, families, limits and cautions",
		Example: `  chipassay show 7410
  chipassay show 74LS51
  chipassay show 74LS51 --svg 74ls51.svg`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			typ, named, err := d.resolve(args[0])
			var ask *library.FamilyError
			if errors.As(err, &ask) && ask.Want == "" && svg == "" {
				return sheet.Page(cmd.OutOrStdout(), ask.Part, nil) // show every variant
			}
			if err != nil {
				return err
			}
			var only *part.Variant
			if named {
				only = typ.Variant
			}
			if svg != "" {
				return writeFile(svg, func(w io.Writer) error { return sheet.WriteSVG(w, typ.Variant) })
			}
			if err := sheet.Page(cmd.OutOrStdout(), typ.Part(), only); err != nil || typ.Variant.Refusal != "" {
				return err
			}
			if why := adapter.Unreachable(typ.Variant); why != "" {
				fmt.Fprintf(cmd.OutOrStdout(), "\nNOT TESTED %s\n", why)
			}
			return nil
		},
	}
	cmd.Flags().StringVar(&svg, "svg", "", "draw the package into this SVG file instead")
	return cmd
}
