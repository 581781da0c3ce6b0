package main

import (
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"chipassay/host/adapter"
	"chipassay/host/report"
	"chipassay/host/selfcheck"
	"chipassay/host/virtual"
)

// adapterFlags are the flags that the adapter's commands have in common.
type adapterFlags struct {
	connection
	definitions *definitions
	asJSON      bool
	chip        string
	spread      float64
	seed        uint64
	own         []string // flags of the command whose names the virtual adapter has too
}

func adapterCommand(d *definitions) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "adapter",
		Short: "Check the adapter itself: what it can do, whether it works, how well it measures; flash its firmware",
		Args:  cobra.NoArgs,
		RunE:  func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(adapterInfoCommand(d), adapterCheckCommand(d), adapterCalibrateCommand(d), adapterFlashCommand())
	return cmd
}

func (f *adapterFlags) add(cmd *cobra.Command) {
	flags := cmd.Flags()
	f.connection.flags(cmd)
	oneName(flags, "port", "adapter") // who has flashed a board goes on with the same words
	flags.BoolVar(&f.asJSON, "json", false, "print one JSON object")
	flags.Float64Var(&f.spread, "board-spread", 0, "virtual adapter: tolerance of its board's resistors, %")
	flags.Uint64Var(&f.seed, "seed", 1, "virtual adapter: random seed")
}

// oneName has a flag understood under another name.
func oneName(flags *pflag.FlagSet, other, name string) {
	flags.SetNormalizeFunc(func(_ *pflag.FlagSet, typed string) pflag.NormalizedName {
		if typed == other {
			typed = name
		}
		return pflag.NormalizedName(typed)
	})
}

// board is the virtual adapter's board, its resistors spread as the flags say.
func (f *adapterFlags) board() (*virtual.Board, error) {
	if f.spread < 0 || f.spread > 20 {
		return nil, errors.New("--board-spread takes 0 to 20 %")
	}
	b, err := f.connection.board()
	if err == nil {
		b.Spread(f.spread, f.seed)
	}
	return b, err
}

// open finds the adapter that the flags name. Fill puts into a virtual board's socket what belongs there.
func (f *adapterFlags) open(cmd *cobra.Command, fill func(b *virtual.Board) (*virtual.Socket, error)) (*adapter.Adapter, error) {
	if f.adapter != virtualAdapter {
		if err := f.connection.check(cmd, f.own...); err != nil {
			return nil, err
		}
		return f.port(cmd.Context(), printing(cmd))
	}
	b, err := f.board()
	if err != nil {
		return nil, err
	}
	socket, err := fill(b)
	if err != nil {
		return nil, err
	}
	return openSocket(cmd.Context(), socket)
}

// chipIn puts the chip that the flags name, or none, into a board's socket.
func (f *adapterFlags) chipIn(b *virtual.Board) (*virtual.Socket, error) {
	if f.chip == "" {
		return b.Socket(nil, f.seed), nil
	}
	typ, err := f.definitions.typeOf(f.chip, "")
	if err != nil {
		return nil, err
	}
	chip, err := virtual.NewChip(typ)
	if err != nil {
		return nil, err
	}
	return b.Socket(chip, f.seed), nil
}

// checkFlags are the flags of the check command.
type checkFlags struct {
	adapterFlags
	building string
	list     bool
}

func adapterCheckCommand(d *definitions) *cobra.Command {
	f := checkFlags{adapterFlags: adapterFlags{definitions: d}}
	cmd := &cobra.Command{
		Use:   "check",
		Short: "Check every register, resistor, switch and channel of the adapter, with an empty socket",
		Long: `Check the adapter with an empty socket: registers and converters; every position
driven, biased and loaded, alone and against the others; every switch; the current
monitor and the reference. Faults are named by the references of the carrier's
parts list, with what to look at. If two parts cannot be told apart, both are
named.

While you build, name the group that you soldered in last with --building
(starter, load, far, switches, converters, in this order). That group and those
before it must be present, and the check says what to do next.

An empty socket does not show everything: --list lists what it does not show,
each with the meter reading that does.

Take the chip out first. Unplug the adapter before you solder on it.

Exit status: 0 no fault; 1 a fault; 3 something is in the socket, or the check
could not run.`,
		Example: `  chipassay adapter check
  chipassay adapter check --building starter
  chipassay adapter check --list`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return f.check(cmd) },
	}
	f.add(cmd)
	f.supplyFlag(cmd)
	flags := cmd.Flags()
	flags.StringVar(&f.chip, "chip", "", "virtual adapter: the part that is in the socket (default: none)")
	flags.StringVar(&f.building, "building", "", "the group of parts that was soldered in last: starter, load, far, switches or converters")
	flags.BoolVar(&f.list, "list", false, "list what the check cannot find, and the meter readings that do; no adapter is needed")
	return cmd
}

func (f *checkFlags) check(cmd *cobra.Command) error {
	if f.list {
		return f.writeUnseen(cmd.OutOrStdout())
	}
	options, err := selfcheck.Built(f.building)
	if err != nil {
		return err
	}
	a, err := f.open(cmd, f.chipIn)
	if err != nil {
		return err
	}
	defer a.Close()
	r, err := selfcheck.Check(cmd.Context(), a, options)
	if err != nil {
		return couldNotTest(err)
	}
	if f.asJSON {
		err = report.WriteJSON(cmd.OutOrStdout(), r)
	} else {
		err = writeCheck(cmd.OutOrStdout(), r)
	}
	if err == nil && len(r.Faults()) > 0 {
		return &statusError{status: exitFailed}
	}
	return err
}

// writeUnseen prints a line a defect that the check cannot find, and under it what shows it.
func (f *checkFlags) writeUnseen(w io.Writer) error {
	unseen := selfcheck.Unseen()
	if f.asJSON {
		return report.WriteJSON(w, unseen)
	}
	for _, h := range unseen {
		if _, err := fmt.Fprintf(w, "%s\n    %s\n", h.What, h.Meter); err != nil {
			return err
		}
	}
	return nil
}

// writeCheck prints a line a group, and under it its faults; at the end what to do next.
func writeCheck(w io.Writer, r *selfcheck.Report) error {
	fmt.Fprintf(w, "fitted: %s\n\n", r.FittedWords())
	for _, g := range r.Groups {
		fmt.Fprintf(w, "%-17s %s\n", g.Name, g.Words())
		for _, fault := range g.Faults {
			fmt.Fprintf(w, "  %s: %s.\n    Look at %s.\n", fault.What, fault.Found, fault.Look)
		}
	}
	_, err := fmt.Fprintf(w, "\n%s\n", r.Conclusion())
	for i, line := range r.Next {
		if i == 0 {
			line = "\nNext: " + line
		}
		fmt.Fprintln(w, line)
	}
	return err
}
