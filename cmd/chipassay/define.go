package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"chipassay/vectors/kicad"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/sheet"
	"chipassay/vectors/stimulus"
	"chipassay/vectors/verilog"
)

func defineCommand(d *definitions) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "define",
		Short: "Write, check and export your own part definitions",
	}
	cmd.AddCommand(defineCheckCommand(), defineNewCommand(), defineExportCommand(d))
	return cmd
}

func defineCheckCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "check FILE...",
		Short: "Check definition files and report what is wrong, with line and column",
		Args:  cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			var all []error
			for _, name := range args {
				all = append(all, checkFile(cmd.OutOrStdout(), name))
			}
			return errors.Join(all...)
		},
	}
}

// checkFile parses a definition, expands it and computes its test, so that
// nothing is left to go wrong later.
func checkFile(w io.Writer, name string) error {
	text, err := os.ReadFile(name)
	if err != nil {
		return err
	}
	parts, err := part.Parse(name, string(text))
	if err != nil {
		return err
	}
	for _, p := range parts {
		for _, v := range p.Variants {
			tested, err := testedBy(v)
			if err != nil {
				return err
			}
			fmt.Fprintf(w, "%s %s: %d pins, %s; %s\n", p.Number, p.Title, len(v.Pins), familyList(v), tested)
		}
	}
	return nil
}

// testedBy says how many steps test a variant, or how a memory is organised.
func testedBy(v *part.Variant) (string, error) {
	if v.Memory != nil {
		return fmt.Sprintf("%s, %s; no vectors", v.Memory.Kind, sheet.Organisation(v.Memory)), nil
	}
	c, err := logic.Compile(v)
	if err != nil {
		return "", err
	}
	s, err := stimulus.For(c)
	if err != nil {
		return "", err
	}
	return fmt.Sprintf("%d steps, %s", len(s.Steps), s.Method), nil
}

func familyList(v *part.Variant) string {
	var names []string
	for _, f := range v.Families {
		names = append(names, f.Name)
	}
	return strings.Join(names, " ")
}

func defineNewCommand() *cobra.Command {
	var number, title, symbolFile, symbol string
	cmd := &cobra.Command{
		Use:   "new [PINS]",
		Short: "Write a commented template of a definition for a number of pins",
		Example: `  chipassay define new 16 > 9999.part
  chipassay define new --kicad 74xx.kicad_sym --symbol 74LS00 --number 7400`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			pins, err := startPins(args, symbolFile, symbol)
			if err != nil {
				return err
			}
			_, err = io.WriteString(cmd.OutOrStdout(), part.Start(number, title, pins))
			return err
		},
	}
	cmd.Flags().StringVar(&number, "number", "9999", "part number of the plain series")
	cmd.Flags().StringVar(&title, "title", "what it is, in a data sheet's words", "title")
	cmd.Flags().StringVar(&symbolFile, "kicad", "", "take the pins from this KiCad symbol file (.kicad_sym)")
	cmd.Flags().StringVar(&symbol, "symbol", "", "the symbol's name in that file")
	return cmd
}

// startPins gives what is known of the pins: from a symbol file, or only their number.
func startPins(args []string, file, symbol string) ([]part.StartPin, error) {
	if file != "" {
		text, err := os.ReadFile(file)
		if err != nil {
			return nil, err
		}
		lib, err := kicad.Read(string(text))
		if err != nil {
			return nil, fmt.Errorf("%s: %w", file, err)
		}
		return kicad.Start(lib, symbol)
	}
	if len(args) != 1 {
		return nil, errors.New("give the number of pins: chipassay define new 14, or name a symbol file with --kicad")
	}
	n, err := strconv.Atoi(args[0])
	if err != nil || n < 4 || n > part.MaxPins || n%2 != 0 {
		return nil, fmt.Errorf("%q is not a number of pins: packages have an even number of pins from 4 to %d", args[0], part.MaxPins)
	}
	pins := make([]part.StartPin, n)
	for i := range pins {
		pins[i] = part.StartPin{Name: "P" + strconv.Itoa(i+1), Role: part.Input}
	}
	pins[n/2-1] = part.StartPin{Name: "GND", Role: part.Ground}
	pins[n/2] = part.StartPin{Name: "Y", Role: part.Output, Kind: part.TotemPole}
	pins[n-1] = part.StartPin{Name: "VCC", Role: part.Supply}
	return pins, nil
}

func defineExportCommand(d *definitions) *cobra.Command {
	var format, family string
	var bench bool
	cmd := &cobra.Command{
		Use:   "export PART",
		Short: "Write a part's function in another language: Verilog (IEEE 1364)",
		Args:  cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if format != "verilog" {
				return fmt.Errorf("there is no format %q: the format is verilog", format)
			}
			p, err := d.planFor(args[0], family)
			if err != nil {
				return err
			}
			if err := verilog.WriteModule(cmd.OutOrStdout(), p.Circuit); err != nil || !bench {
				return err
			}
			return verilog.WriteBench(cmd.OutOrStdout(), p.Sequence)
		},
	}
	cmd.Flags().StringVar(&format, "format", "verilog", "verilog")
	cmd.Flags().StringVar(&family, "family", "", "family, if PART names none: LS, HC, B …")
	cmd.Flags().BoolVar(&bench, "bench", false, "add a test bench that applies the part's vectors")
	return cmd
}
