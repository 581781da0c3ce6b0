package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/spf13/cobra"

	"chipassay/host/adapter"
	"chipassay/host/bench"
	"chipassay/host/console"
	"chipassay/host/identified"
	"chipassay/host/identify"
	"chipassay/host/virtual"
	"chipassay/vectors/match"
	"chipassay/vectors/part"
)

// identifyFlags are the flags of the identify command.
type identifyFlags struct {
	connection
	definitions  *definitions
	hint         identify.Hint
	chip, html   string
	define       string
	chipDefects  []string
	asJSON, full bool
	atLeast      time.Duration
	seed         uint64
}

func identifyCommand(d *definitions) *cobra.Command {
	f := identifyFlags{definitions: d}
	cmd := &cobra.Command{
		Use:   "identify",
		Short: "Identify a chip whose marking is gone, and show whether it is good",
		Long: `Identify a chip whose marking is gone or not to be trusted, and show whether it is
good.

Its package and supply pins are found before power, the technology of its inputs by
what they do, and its function by probing it through resistors beside every part of
the library. The best candidates are then tested as such. Give what you can read or
know: it orders the candidates and excludes nothing.

The last line is the verdict with its reason. The exit status is 0 for a good chip
that is certain, also up to parts of the same function, 1 for a faulty one, 2 for
wrong input, 3 for one that is not known or not certain, and 4 for PASS, BUT.

Discharge yourself before you touch the chip, seat it with pin 1 at the lever end,
and take it out if it gets hot.`,
		Example: `  chipassay identify
  chipassay identify --marking "74?? 7938"
  chipassay identify --kind counter --pins 16 --html counter.html
  chipassay identify --adapter virtual --chip 7410 --defect "2 open"`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return f.run(cmd) },
	}
	flags := cmd.Flags()
	f.connection.flags(cmd)
	f.supplyFlag(cmd)
	flags.StringVar(&f.hint.Marking, "marking", "", `what can be read of the marking, ? for what cannot: "74?? 7938"`)
	hintFlags(cmd, &f.hint, "")
	flags.BoolVar(&f.asJSON, "json", false, "print the answer as one JSON object")
	flags.BoolVar(&f.full, "full", false, "print the whole answer and the report of its own test")
	flags.StringVar(&f.html, "html", "", "write the answer to this HTML file too")
	flags.StringVar(&f.define, "define", "", "of a chip that the library lacks: write a definition of what was measured to this file")
	atLeastFlag(cmd, &f.atLeast)
	flags.StringVar(&f.chip, "chip", "", "virtual adapter: the part that is really in the socket; empty for none")
	flags.StringArrayVar(&f.chipDefects, "defect", nil, "virtual adapter: a defect of the chip (may be repeated):\n"+virtual.DefectForms())
	flags.Uint64Var(&f.seed, "seed", 1, "random seed of the steps and of the virtual adapter")
	return cmd
}

func (f identifyFlags) run(cmd *cobra.Command) error {
	if err := f.connection.check(cmd, "seed"); err != nil {
		return err
	}
	if err := f.wrong(cmd); err != nil {
		return err
	}
	chip, err := f.virtualChip()
	if err != nil {
		return err
	}
	stop := working(cmd.ErrOrStderr(), "identifying the chip")
	d, err := f.identify(cmd, chip)
	stop()
	if err != nil {
		return err
	}
	return f.report(cmd, d)
}

// wrong says what of the input is wrong.
func (f identifyFlags) wrong(cmd *cobra.Command) error {
	if err := wrongHint(f.hint); err != nil {
		return err
	}
	switch {
	case f.adapter == virtualAdapter && !cmd.Flags().Changed("chip"):
		return errors.New(`name the chip in the virtual socket: --chip 7400, or --chip "" for none`)
	case f.chip == "" && len(f.chipDefects) > 0:
		return errors.New("--defect is of a chip: add --chip")
	}
	return notNegative(f.atLeast)
}

// hintFlags gives a command the flags for what is known of a chip besides its marking.
func hintFlags(cmd *cobra.Command, h *identify.Hint, when string) {
	cmd.Flags().IntVar(&h.Pins, "pins", 0, when+"how many pins it has")
	cmd.Flags().StringVar(&h.Kind, "kind", "", when+"kind of part: counter, gate, register …")
}

// wrongHint says what of these flags is wrong.
func wrongHint(h identify.Hint) error {
	if err := h.Check(); err != nil {
		return fmt.Errorf("--%w", err)
	}
	return nil
}

// virtualChip is what is seated in the virtual socket; nil for nothing.
func (f identifyFlags) virtualChip() (*virtual.Chip, error) {
	if f.chip == "" {
		return nil, nil
	}
	t := testFlags{definitions: f.definitions, chip: f.chip, chipDefects: f.chipDefects}
	return t.virtualChip(part.Type{})
}

// identify identifies the chip and gives the document of the answer.
func (f identifyFlags) identify(cmd *cobra.Command, chip *virtual.Chip) (d identified.Document, err error) {
	p, err := f.definitions.identification()
	if err != nil {
		return d, err
	}
	p.Hint, p.Seed, p.AtLeast = f.hint, f.seed, f.atLeast
	a, err := f.open(cmd.Context(), cmd, chip)
	if err != nil {
		return d, err
	}
	defer a.Close()
	d, err = bench.Identified(cmd.Context(), a, p)
	if cmd.Context().Err() != nil {
		err = errors.New("interrupted; the supply is off")
	}
	if err != nil {
		return d, couldNotTest(err)
	}
	return d, nil
}

// identification is how a chip is identified: beside every part of the library.
func (d *definitions) identification() (p identify.Plan, err error) {
	circuits, err := d.circuits()
	if err != nil {
		return p, err
	}
	memories, err := d.memories()
	return identify.Plan{Candidates: match.Of(circuits, memories), Others: d.circuits}, err
}

// open finds the adapter that the flags name.
func (f identifyFlags) open(ctx context.Context, cmd *cobra.Command, chip *virtual.Chip) (*adapter.Adapter, error) {
	if f.adapter == virtualAdapter {
		return f.virtual(ctx, chip, f.seed)
	}
	return f.port(ctx, printing(cmd))
}

// report prints the answer and turns it into the exit status.
func (f identifyFlags) report(cmd *cobra.Command, d identified.Document) (err error) {
	out := cmd.OutOrStdout()
	switch {
	case f.asJSON:
		err = d.WriteJSON(out)
	case f.full:
		err = d.WriteText(out, console.Colour(os.Stdout))
	default:
		err = d.WriteBrief(out, console.Colour(os.Stdout))
	}
	if f.html != "" {
		err = errors.Join(err, writeFile(f.html, d.WriteHTML))
	}
	if f.define != "" {
		err = errors.Join(err, f.writeDefinition(cmd, d))
	}
	if err != nil {
		return err
	}
	return verdictStatus(d.Verdict)
}

// writeDefinition writes the definition of what was measured, where there is one.
func (f identifyFlags) writeDefinition(cmd *cobra.Command, d identified.Document) error {
	if d.Table == nil || d.Table.Definition == "" {
		fmt.Fprintf(cmd.ErrOrStderr(), "%s was not written: no function table was measured\n", f.define)
		return nil
	}
	return writeFile(f.define, func(w io.Writer) error {
		_, err := io.WriteString(w, d.Table.Definition)
		return err
	})
}
