package main

import (
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"

	"chipassay/host/identified"
	"chipassay/host/identify"
	"chipassay/host/pal"
	"chipassay/host/report"
	"chipassay/host/virtual"
	"chipassay/vectors/part"
)

// palFlags are the flags of the pal command.
type palFlags struct {
	identifyFlags
	out, compare string
}

func palCommand(d *definitions) *cobra.Command {
	f := palFlags{identifyFlags: identifyFlags{definitions: d}}
	cmd := &cobra.Command{
		Use:   "pal DEVICE",
		Short: "Read programmable logic, a PAL or GAL, into equations",
		Long: `Read the function of the PAL or GAL in the socket into a table and minimal equations.
All combinations of its inputs are applied, and outputs that it drives are found by
what they do. Registered outputs are not covered, and the output says so.

--out writes a part definition, with which another chip can be tested or compared.
--compare compares all rows with such a file. The exit status is 0 for equal chips,
1 where they differ, and 3 where not everything could be read.`,
		Example: `  chipassay pal PAL16L8 --out doors.part
  chipassay pal 16L8 --compare doors.part
  chipassay pal GAL20V8 --json`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error { return f.run(cmd, args[0]) },
	}
	flags := cmd.Flags()
	f.connection.flags(cmd)
	f.supplyFlag(cmd)
	flags.StringVar(&f.out, "out", "", "write a part definition of what was read to this file; it must not exist")
	flags.StringVar(&f.compare, "compare", "", "compare with the first part that this definition file holds")
	flags.BoolVar(&f.asJSON, "json", false, "print one JSON object")
	flags.StringVar(&f.chip, "chip", "", "virtual adapter: the part that is in the socket, such as one of your definitions")
	flags.StringArrayVar(&f.chipDefects, "defect", nil, "virtual adapter: a defect of the chip (may be repeated):\n"+virtual.DefectForms())
	flags.Uint64Var(&f.seed, "seed", 1, "random seed of the steps and of the virtual adapter")
	return cmd
}

func (f palFlags) run(cmd *cobra.Command, marked string) error {
	device, err := pal.Find(marked)
	if err != nil {
		return err
	}
	if err := errors.Join(f.connection.check(cmd, "seed"), f.wrong(cmd)); err != nil {
		return err
	}
	if _, err := os.Stat(f.out); f.out != "" && err == nil {
		return fmt.Errorf("%s exists already: name another file with --out", f.out)
	}
	var wanted *part.Variant
	if f.compare != "" {
		if wanted, err = firstPart(f.compare); err != nil {
			return err
		}
	}
	r, err := f.read(cmd, device)
	if err != nil {
		return err
	}
	var differences []pal.Difference
	if wanted != nil && r.Table != nil && r.Table.Rows != nil {
		if differences, err = pal.Compare(r.Table, wanted, device.Pins); err != nil {
			return err
		}
	}
	return f.tell(cmd, r, differences)
}

func firstPart(name string) (*part.Variant, error) {
	text, err := os.ReadFile(name)
	if err != nil {
		return nil, err
	}
	parts, err := part.Parse(name, string(text))
	if err != nil {
		return nil, err
	}
	return parts[0].Variants[0], nil
}

func (f palFlags) read(cmd *cobra.Command, d pal.Device) (*pal.Reading, error) {
	chip, err := f.virtualChip()
	if err != nil {
		return nil, err
	}
	a, err := f.open(cmd.Context(), cmd, chip)
	if err != nil {
		return nil, err
	}
	defer a.Close()
	seat, err := a.Seat(d.Pins, d.Pins, d.Pins/2)
	if err != nil {
		return nil, couldNotTest(err)
	}
	stop := working(cmd.ErrOrStderr(), "reading the "+d.Name)
	r, err := pal.Read(cmd.Context(), seat, d, identify.Plan{Seed: f.seed})
	stop()
	if cmd.Context().Err() != nil {
		err = errors.New("interrupted; the supply is off")
	}
	if err != nil {
		return nil, couldNotTest(err)
	}
	return r, nil
}

// tell prints what was read and how it compares, and turns that into the exit status.
func (f palFlags) tell(cmd *cobra.Command, r *pal.Reading, differences []pal.Difference) error {
	d := identified.Of(r.Answer, "", nil)
	out := cmd.OutOrStdout()
	if f.asJSON {
		err := report.WriteJSON(out, struct {
			Device      string                    `json:"device"`
			Table       *identified.FunctionTable `json:"table"`       // null where nothing was read
			NotCovered  string                    `json:"not_covered"` // empty where the table holds everything
			Differences []pal.Difference          `json:"differences"` // from the file of --compare
		}{r.Device.Name, d.Table, r.NotCovered(), append([]pal.Difference{}, differences...)})
		if err != nil {
			return err
		}
	} else {
		f.print(out, r, d.Table, differences)
	}
	if f.out != "" && d.Table != nil && d.Table.Definition != "" {
		if err := writeFile(f.out, func(w io.Writer) error {
			_, err := io.WriteString(w, d.Table.Definition)
			return err
		}); err != nil {
			return err
		}
	}
	switch {
	case len(differences) > 0:
		return &statusError{status: exitFailed}
	case !r.Whole():
		return &statusError{status: exitCouldNotTest}
	}
	return nil
}

func (f palFlags) print(w io.Writer, r *pal.Reading, t *identified.FunctionTable, differences []pal.Difference) {
	if r.Table == nil || r.Table.Rows == nil {
		fmt.Fprintf(w, "%s: not read: %s\n", r.Device.Name, r.NotCovered())
		return
	}
	fmt.Fprintf(w, "%s: %d inputs, %d outputs, all %d combinations\n", r.Device.Name, len(t.Inputs), len(t.Outputs), len(t.Rows))
	for _, e := range t.Equations {
		fmt.Fprintf(w, "P%d = %s", e.Pin, e.Expression)
		if e.Enable != "" {
			fmt.Fprintf(w, ", driven where %s", e.Enable)
		}
		fmt.Fprintln(w)
	}
	if f.out != "" {
		fmt.Fprintf(w, "Written to %s\n", f.out)
	}
	for _, d := range differences {
		fmt.Fprintf(w, "Pin %d differs from %s in %d rows, the first %s: %s, not %s\n", d.Pin, f.compare, d.Rows, d.At, d.Read, d.Want)
	}
	if f.compare != "" && len(differences) == 0 {
		fmt.Fprintf(w, "The same as %s in all rows\n", f.compare)
	}
	if text := r.NotCovered(); text != "" {
		fmt.Fprintf(w, "Not covered: %s\n", text)
	}
}
