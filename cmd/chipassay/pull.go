package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strings"

	"github.com/spf13/cobra"

	"chipassay/vectors/part"
)

// pullFlags are the flags of the pull command.
type pullFlags struct {
	family       string
	ohms, inputs float64
	led, ledMA   float64
}

func pullCommand() *cobra.Command {
	var f pullFlags
	cmd := &cobra.Command{
		Use:   "pull",
		Short: "Work out the level that a pull-up or pull-down gives, and LED resistors",
		Long: `Work out the level that a resistor alone gives a family's inputs, from the worst
case of its DC limits: whether it is a valid low to ground, a valid high to a
supply of at least 4.75 V, and the largest value that is. It also gives LED series
resistors for the family's outputs.`,
		Example: `  chipassay pull --family LS --ohms 1000
  chipassay pull --family 74 --ohms 330 --inputs 2`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return f.print(cmd.OutOrStdout()) },
	}
	flags := cmd.Flags()
	flags.StringVar(&f.family, "family", "", "family of the inputs: 74, LS, HC, B …")
	flags.Float64Var(&f.ohms, "ohms", 1000, "the resistor, Ω")
	flags.Float64Var(&f.inputs, "inputs", 1, "inputs connected to it, in unit loads")
	flags.Float64Var(&f.led, "led", 1.8, "forward voltage of the LED, V")
	flags.Float64Var(&f.ledMA, "led-current", 10, "highest LED current, mA")
	if err := cmd.MarkFlagRequired("family"); err != nil {
		panic(err) // the flag is defined above
	}
	return cmd
}

func (f pullFlags) print(w io.Writer) error {
	family := part.FamilyByName(f.family)
	positive := func(v float64) bool { return v > 0 && !math.IsInf(v, 1) }
	switch {
	case family == nil:
		var names []string
		for _, known := range part.Families {
			names = append(names, known.Name)
		}
		return fmt.Errorf("there is no family %q; there are %s", f.family, strings.Join(names, ", "))
	case !positive(f.ohms) || !positive(f.inputs) || !positive(f.led) || !positive(f.ledMA):
		return errors.New("the resistor, the number of inputs and the LED's values must be above 0")
	}
	down, up := part.PullDown(family, f.ohms, f.inputs), part.PullUp(family, f.ohms, f.inputs)
	if family.Name == "TTL" {
		fmt.Fprint(w, "TTL is the family of bipolar memories: the plain series of logic is 74.\n\n")
	}
	fmt.Fprintf(w, "%s (%s), %s and an input load of %g, worst case\n\n", family.Name, family.Title, part.Ohms(f.ohms), f.inputs)
	fmt.Fprintf(w, "  to ground   at most %.2f V   %s (VIL %.2f V); at most %s\n", down.Volts, validity(down.Valid, "low"), family.VIL, largest(down.Largest))
	fmt.Fprintf(w, "  to supply   at least %.2f V  %s (VIH %.2f V); at most %s\n", up.Volts, validity(up.Valid, "high"), family.VIH, largest(up.Largest))
	if family.Technology.Bipolar() && !down.Valid {
		fmt.Fprint(w, "\nLeft to itself such an input floats to about 1.5 V and acts as a high.\n")
	}
	fmt.Fprintf(w, "\nLED of %.1f V from the supply to an output, lit when the output is low:\n", f.led)
	shown := map[float64]bool{}
	for d := part.StandardDrive; d <= part.BusDrive; d++ {
		iol := family.Output[d].IOL
		ohms, flows, err := part.LEDOhms(family, d, f.led, f.ledMA)
		if err != nil {
			return err
		}
		if shown[iol] {
			continue
		}
		shown[iol] = true
		fmt.Fprintf(w, "  %-8s output (IOL %g mA)   %s, %.1f mA\n", d, iol, part.Ohms(ohms), flows)
	}
	_, err := fmt.Fprintf(w, "\nLimits: %s.\n", family.Source)
	return err
}

func validity(valid bool, level string) string {
	if valid {
		return "a valid " + level
	}
	return "no valid " + level
}

// largest writes the largest value that is valid, and the E12 value below it.
func largest(ohms float64) string {
	return fmt.Sprintf("%s (E12: %s)", part.Ohms(ohms), part.Ohms(part.E12Below(ohms)))
}
