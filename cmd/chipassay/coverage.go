package main

import (
	"errors"
	"fmt"
	"io"
	"runtime"
	"strings"
	"sync"

	"github.com/spf13/cobra"

	"chipassay/vectors/fault"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

func coverageCommand(d *definitions) *cobra.Command {
	var all, asJSON bool
	var family string
	cmd := &cobra.Command{
		Use:   "coverage [PART]",
		Short: "Say what a part's vectors prove: faults, shorts and other parts that they detect",
		Long: `Say what a part's vectors prove, by fault simulation: single stuck-at faults of
the data sheet's logic after MIL-STD-883 method 5012, faults of each pin, shorts
between pins, and which other parts the vectors would not tell from this one.`,
		Example: `  chipassay coverage 7410
  chipassay coverage --all`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if all == (len(args) == 1) {
				return errors.New("name one part, or say --all")
			}
			types, others, err := coverageTypes(d, args, family)
			if err != nil {
				return err
			}
			covers, err := coverEach(d, types, others)
			if err != nil {
				return err
			}
			switch {
			case asJSON:
				return writeCoverageJSON(cmd.OutOrStdout(), covers)
			case all:
				writeCoverageTable(cmd.OutOrStdout(), covers)
			default:
				writeCoverage(cmd.OutOrStdout(), covers[0])
			}
			return nil
		},
	}
	cmd.Flags().BoolVar(&all, "all", false, "a table of all logic of the library")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print an array of objects, one a part")
	cmd.Flags().StringVar(&family, "family", "", "family, where PART names none: LS, HC, B …")
	return cmd
}

// coverageTypes gives the types to look at, and a circuit of every variant of the library.
func coverageTypes(d *definitions, args []string, family string) (types []part.Type, others []*logic.Circuit, err error) {
	if len(args) == 1 {
		typ, err := d.typeOf(args[0], family)
		if err == nil {
			err = logic.RefuseMemory(typ.Variant)
		}
		if err != nil {
			return nil, nil, err
		}
		types = []part.Type{typ}
	}
	if others, err = d.circuits(); err != nil || types != nil {
		return types, others, err
	}
	for _, c := range others {
		if c.Variant.Refusal == "" {
			types = append(types, part.Type{Variant: c.Variant, Family: c.Variant.Families[0]})
		}
	}
	return types, others, nil
}

// coverEach measures the types, several at a time, and keeps their order.
func coverEach(d *definitions, types []part.Type, others []*logic.Circuit) ([]fault.Coverage, error) {
	covers := make([]fault.Coverage, len(types))
	errs := make([]error, len(types))
	next := make(chan int)
	var wait sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wait.Go(func() {
			for i := range next {
				covers[i], errs[i] = cover(d, types[i], others)
			}
		})
	}
	for i := range types {
		next <- i
	}
	close(next)
	wait.Wait()
	return covers, errors.Join(errs...)
}

func cover(d *definitions, typ part.Type, others []*logic.Circuit) (fault.Coverage, error) {
	p, err := d.plan(typ)
	if err != nil {
		return fault.Coverage{}, err
	}
	return fault.Cover(p.Circuit, typ.Family, p.Sequence, others), nil
}

func writeCoverageTable(w io.Writer, covers []fault.Coverage) {
	fmt.Fprintln(w, "part      steps  classes  detectable  detected  percent  pin faults     shorts         not told apart")
	for _, c := range covers {
		fmt.Fprintf(w, "%-8s %6d  %7d  %10d  %8d  %6d%%  %5d of %-5d %5d of %-5d  %s\n", c.Part, c.Steps, c.Classes, c.Detectable, c.Detected,
			c.Percent(), c.PinsDetected, c.PinFaults, c.ShortsFound, c.Shorts, strings.Join(c.Intruders, " "))
	}
}

func writeCoverage(w io.Writer, c fault.Coverage) {
	fmt.Fprintf(w, "%s: %s\n\n", c.Part, c.Statement())
	fmt.Fprintf(w, "steps        %d, %s\n", c.Steps, c.Method)
	fmt.Fprintf(w, "pin faults   %d of %d detected\n", c.PinsDetected, c.PinFaults)
	fmt.Fprintf(w, "shorts       %d of %d detected\n", c.ShortsFound, c.Shorts)
	for _, list := range []struct {
		label string
		items []string
	}{{"undetectable", c.Undetectable}, {"not detected", c.Missed}, {"pin faults not detected", c.PinsMissed}} {
		for _, item := range list.items {
			fmt.Fprintf(w, "%s: %s\n", list.label, item)
		}
	}
	if len(c.Intruders) > 0 {
		fmt.Fprintf(w, "not told apart by static levels: %s\n", strings.Join(c.Intruders, " "))
	}
}

// writeCoverageJSON writes an array, one element a part.
func writeCoverageJSON(w io.Writer, covers []fault.Coverage) error {
	type counts struct {
		Total    int `json:"total"`
		Detected int `json:"detected"`
	}
	type stuckAt struct {
		Classes    int `json:"classes"`
		Detectable int `json:"detectable"`
		Detected   int `json:"detected"`
	}
	type row struct {
		Part      string   `json:"part"`
		Steps     int      `json:"steps"`
		Method    string   `json:"method"`
		StuckAt   stuckAt  `json:"stuck_at"`
		PinFaults counts   `json:"pin_faults"`
		Shorts    counts   `json:"shorts"`
		Intruders []string `json:"intruders"`
		Statement string   `json:"statement"`
	}
	rows := []row{}
	for _, c := range covers {
		rows = append(rows, row{c.Part, c.Steps, c.Method, stuckAt{c.Classes, c.Detectable, c.Detected},
			counts{c.PinFaults, c.PinsDetected}, counts{c.Shorts, c.ShortsFound}, c.Intruders, c.Statement()})
	}
	return writeJSON(w, rows)
}
