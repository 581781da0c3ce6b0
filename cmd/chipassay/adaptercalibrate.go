package main

import (
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"chipassay/host/calibration"
	"chipassay/host/report"
	"chipassay/host/virtual"
)

// calibrateFlags are the flags of the calibrate command.
type calibrateFlags struct {
	adapterFlags
	ohms, supply, inSocket float64
	between                string
	forget                 bool
}

func adapterCalibrateCommand(d *definitions) *cobra.Command {
	f := calibrateFlags{adapterFlags: adapterFlags{definitions: d, own: []string{"supply"}}}
	cmd := &cobra.Command{
		Use:   "calibrate",
		Short: "Calibrate the adapter's measurements with a known resistor",
		Long: `Find the constants that make the adapter's measurements right, and store them in
the adapter.

Measure a resistor of 1 to 2.4 kΩ with a meter you trust. Put it alone into the
socket between two positions of the near half (1-8 and 21-28), and name both with
--between. With the far converters fitted that is all: their 2.500 V reference
gives the 5 V supply. Without them measure the 5 V with a voltmeter and give it
with --supply, because the adapter measures every voltage against it.
If one position has a high-side and the other a low-side switch, such as 28 and 8,
the current monitor is calibrated too.

Nothing is stored if a result is implausible.`,
		Example: `  chipassay adapter calibrate --resistor 1002 --between 28,8
  chipassay adapter calibrate --resistor 1002 --between 28,8 --supply 4.96
  chipassay adapter calibrate --forget`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return f.run(cmd) },
	}
	f.add(cmd)
	flags := cmd.Flags()
	flags.Float64Var(&f.ohms, "resistor", 0, "the resistor in the socket, Ω, as measured")
	flags.StringVar(&f.between, "between", "", "the two socket positions where it is: P,Q")
	flags.Float64Var(&f.supply, "supply", 0, "the adapter's 5 V supply as measured, V (default: from its reference, else unchanged)")
	flags.BoolVar(&f.forget, "forget", false, "go back to the values of the design")
	flags.Float64Var(&f.inSocket, "in-socket", 0, "virtual adapter: the resistor that is really in the socket, Ω (default: as given; inf for none)")
	return cmd
}

func (f *calibrateFlags) run(cmd *cobra.Command) error {
	r := calibration.Resistor{Ohms: f.ohms}
	flags := cmd.Flags()
	switch {
	case f.forget && (flags.Changed("resistor") || flags.Changed("between") || flags.Changed("supply")):
		return errors.New("--forget takes no other option")
	case f.forget:
		return f.forgetConstants(cmd)
	case !flags.Changed("resistor") || !flags.Changed("between"):
		return errors.New("give the resistor and where it is: --resistor OHMS --between P,Q (or --forget)")
	}
	p, q, found := strings.Cut(f.between, ",")
	var errP, errQ error
	r.P, errP = strconv.Atoi(strings.TrimSpace(p))
	r.Q, errQ = strconv.Atoi(strings.TrimSpace(q))
	if !found || errP != nil || errQ != nil {
		return fmt.Errorf("--between takes two socket positions, such as 28,8, not %q", f.between)
	}
	if f.adapter == virtualAdapter {
		if err := r.Seatable(); err != nil {
			return fmt.Errorf("--between: %w", err)
		}
	}
	a, err := f.open(cmd, func(b *virtual.Board) (*virtual.Socket, error) { return f.resistorIn(b, r) })
	if err != nil {
		return err
	}
	defer a.Close()
	result, err := calibration.Keep(cmd.Context(), a, r, f.supply)
	if err != nil {
		return couldNotTest(err)
	}
	if f.asJSON {
		return report.WriteJSON(cmd.OutOrStdout(), map[string]*calibrationConstants{"old": constantsOf(result.Old), "new": constantsOf(result.New)})
	}
	return writeCalibration(cmd.OutOrStdout(), result)
}

// resistorIn puts the resistor that is really there into a virtual socket.
func (f *calibrateFlags) resistorIn(b *virtual.Board, r calibration.Resistor) (*virtual.Socket, error) {
	ohms := f.inSocket
	if ohms == 0 {
		ohms = r.Ohms
	}
	if !(ohms >= 0.01) {
		return nil, errors.New("a resistor has at least 0.01 Ω")
	}
	return b.SocketWith(virtual.Resistor{Ohms: ohms, P: r.P, Q: r.Q}, f.seed), nil
}

func (f *calibrateFlags) forgetConstants(cmd *cobra.Command) error {
	a, err := f.open(cmd, f.chipIn)
	if err != nil {
		return err
	}
	defer a.Close()
	if err := a.ForgetCalibration(cmd.Context()); err != nil {
		return couldNotTest(err)
	}
	k, err := a.Calibration(cmd.Context())
	if err != nil {
		return couldNotTest(err)
	}
	if f.asJSON {
		return report.WriteJSON(cmd.OutOrStdout(), map[string]*calibrationConstants{"new": constantsOf(k)})
	}
	fmt.Fprintln(cmd.OutOrStdout(), "The calibration is erased. The adapter uses the values of its design:")
	return constantsOf(k).write(cmd.OutOrStdout())
}

// writeCalibration prints old and new side by side.
func writeCalibration(w io.Writer, r calibration.Result) error {
	fmt.Fprintf(w, "%-14s %10s %10s\n", "", "old", "new")
	for _, row := range r.Rows() {
		fmt.Fprintln(w, strings.TrimRight(fmt.Sprintf("%-14s %10s %10s  %s", row.Name, row.Old, row.New, row.From), " "))
	}
	if r.Gain != "" {
		fmt.Fprintf(w, "The gain of the channels is %s.\n", r.Gain)
	}
	_, err := fmt.Fprintln(w, "\nThe adapter has stored the new values. --forget goes back to those of its design.")
	return err
}
