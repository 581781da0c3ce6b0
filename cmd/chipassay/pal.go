package main

import (
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/pal"
	"chipassay/host/report"
	"chipassay/vectors/part"
)

// palFlags are the flags of pal read.
type palFlags struct {
	testFlags
	out, compare string
	held         []string
}

func palCommand(d *definitions) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "pal",
		Short: "Read programmable logic of 20 and 24 pins as a table and equations",
	}
	cmd.AddCommand(palReadCommand(d))
	return cmd
}

func palReadCommand(d *definitions) *cobra.Command {
	f := palFlags{testFlags: testFlags{definitions: d}}
	cmd := &cobra.Command{
		Use:   "read DEVICE",
		Short: "Read what the combinational outputs of a PAL or GAL do at all combinations",
		Long: `Drive the inputs of the PAL or GAL in the socket through all combinations, find which
of its pins are outputs, and print each combinational output as a minimal sum of
products. I3 is the level at pin 3, O19 that at pin 19, z a released output; ! is
not, & and, | or.

What registers hold is not read, nor an output that holds state by feeding itself back:
such outputs are named. Pins that may be inputs or outputs are driven only after they
were seen to drive at no combination of the others. At most 16 inputs are driven;
--held keeps one at the level that it has on the board.

--out writes the whole table to a file; --compare reads one and says which outputs
differ. The exit status is 0, or 1 where a comparison differs, 2 for wrong input, 3
where the chip could not be read.

Devices: ` + strings.Join(pal.Numbers(), " ") + `.`,
		Example: `  chipassay pal read 16L8 --out decoder.table
  chipassay pal read 16L8 --compare decoder.table
  chipassay pal read 20L8 --held 13=L`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error { return f.run(cmd, args[0]) },
	}
	flags := cmd.Flags()
	f.connection.flags(cmd)
	f.supplyFlag(cmd)
	flags.StringVar(&f.out, "out", "", "write the table to this file; it must not exist")
	flags.StringVar(&f.compare, "compare", "", "compare the table with this file")
	flags.StringSliceVar(&f.held, "held", nil, "keep inputs at a level: 13=L,14=H")
	flags.StringVar(&f.chip, "chip", "", "virtual adapter: the part that is in the socket, of your own definitions")
	flags.StringArrayVar(&f.chipDefects, "defect", nil, "virtual adapter: a defect of the chip (may be repeated)")
	flags.Uint64Var(&f.seed, "seed", 1, "virtual adapter: random seed")
	return cmd
}

func (f palFlags) run(cmd *cobra.Command, typed string) error {
	d, err := pal.Find(typed)
	if err != nil {
		return err
	}
	held, err := heldPins(f.held, d)
	if err != nil {
		return err
	}
	if err := f.connection.check(cmd); err != nil {
		return err
	}
	if f.adapter == virtualAdapter && f.chip == "" {
		return fmt.Errorf("--chip: the virtual adapter needs a part in its socket, as programmable logic is what was made of it")
	}
	if f.out != "" {
		if _, err := os.Stat(f.out); err == nil {
			return fmt.Errorf("%s exists already: name another file with --out", f.out)
		}
	}
	var want *pal.Table
	if f.compare != "" {
		if want, err = readTable(f.compare); err != nil {
			return err
		}
	}
	t, err := f.read(cmd, d, held)
	if err != nil {
		return err
	}
	out := cmd.OutOrStdout()
	sayTable(out, t)
	if f.out != "" {
		if err := writeFile(f.out, t.Write); err != nil {
			return err
		}
		fmt.Fprintf(out, "written to %s\n", f.out)
	}
	if want == nil {
		return nil
	}
	differs := t.Compare(want)
	for _, line := range differs {
		fmt.Fprintln(out, line)
	}
	if len(differs) > 0 {
		return &statusError{status: exitFailed}
	}
	fmt.Fprintf(out, "the same as %s\n", f.compare)
	return nil
}

// heldPins reads 13=L.
func heldPins(words []string, d pal.Device) (map[int]bool, error) {
	held := map[int]bool{}
	for _, word := range words {
		pin, level, _ := strings.Cut(strings.ToUpper(word), "=")
		n, err := strconv.Atoi(pin)
		if err != nil || level != "L" && level != "H" {
			return nil, fmt.Errorf("--held %s: write a pin and its level, as in 13=L", word)
		}
		if !d.Drivable(n) {
			return nil, fmt.Errorf("--held %s: pin %d of a %s is no input", word, n, d.Number)
		}
		held[n] = level == "H"
	}
	return held, nil
}

func readTable(name string) (*pal.Table, error) {
	file, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	t, err := pal.Parse(file)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return t, nil
}

// read reads the chip in the socket; what was wrong with it has then been reported.
func (f palFlags) read(cmd *cobra.Command, d pal.Device, held map[int]bool) (*pal.Table, error) {
	var a *adapter.Adapter
	seat := func(t part.Type) (socket assay.MemorySocket, err error) {
		if a == nil {
			if a, err = f.open(cmd, t); err != nil {
				return nil, err
			}
		}
		return seatOf(a, t)
	}
	defer func() {
		if a != nil {
			a.Close()
		}
	}()
	t, r, err := pal.Read(cmd.Context(), seat, d, held, progressOf(cmd, 0))
	if err != nil || t != nil {
		return t, err
	}
	nameAdapter(r, a)
	if err := report.Of(r, "", "", nil, "").WriteText(cmd.OutOrStdout(), report.Colour(os.Stdout)); err != nil {
		return nil, err
	}
	return nil, verdictStatus(r.Verdict)
}

// sayTable prints a table's equations, and what it does not cover.
func sayTable(w io.Writer, t *pal.Table) {
	fmt.Fprintf(w, "%s: %d inputs, %d outputs, %d combinations, read five times\n", t.Device, len(t.Inputs), len(t.Outputs), t.Rows())
	for _, line := range t.Equations() {
		fmt.Fprintln(w, line)
	}
	for _, note := range t.Notes {
		fmt.Fprintf(w, "not covered  %s\n", note)
	}
}
