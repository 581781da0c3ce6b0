package main

import (
	"errors"
	"fmt"
	"io"
	"runtime"
	"slices"
	"strings"
	"sync"

	"github.com/spf13/cobra"

	"chipassay/host/report"
	"chipassay/vectors/fault"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/proof"
)

func coverageCommand(d *definitions) *cobra.Command {
	var all, asJSON, anew bool
	var family string
	cmd := &cobra.Command{
		Use:   "coverage [PART]",
		Short: "Show what a part's vectors prove: the faults, shorts and other parts that they detect",
		Long: `Show what a part's vectors prove, by fault simulation: single stuck-at faults of
the data sheet's logic after MIL-STD-883 method 5012, faults of the cells of its
registers, faults of each pin, shorts between pins, and which other parts would
give the same answer to every vector.

For the library this is worked out in advance; --anew works it out again, which
takes minutes for some parts.`,
		Example: `  chipassay coverage 7410
  chipassay coverage --all`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if all == (len(args) == 1) {
				return errors.New("name one part, or give --all")
			}
			types, others, err := coverageTypes(d, args, family)
			if err != nil {
				return err
			}
			work := proof.Of
			if anew {
				work = workOut
			}
			covers, err := coverEach(types, others, work)
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
	cmd.Flags().BoolVar(&asJSON, "json", false, "print an array with one object for each part")
	cmd.Flags().BoolVar(&anew, "anew", false, "work the proofs out again instead of using the stored ones")
	cmd.Flags().StringVar(&family, "family", "", "family, if PART names none: LS, HC, B …")
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

// workOut works a proof out again.
func workOut(t part.Type, others proof.Others) (*proof.Proof, error) {
	p, _, err := proof.WorkOut(t, others)
	return p, err
}

// coverEach measures the types, several at a time, and keeps their order.
func coverEach(types []part.Type, others []*logic.Circuit, work func(part.Type, proof.Others) (*proof.Proof, error)) ([]covered, error) {
	covers := make([]covered, len(types))
	errs := make([]error, len(types))
	next := make(chan int)
	var wait sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wait.Go(func() {
			for i := range next {
				p, err := work(types[i], func() ([]*logic.Circuit, error) { return others, nil })
				if errs[i] = err; err == nil {
					covers[i] = covered{types[i].Variant, p.Coverage}
				}
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

// A covered part is one with what its vectors prove.
type covered struct {
	variant *part.Variant
	fault.Coverage
}

// writeCoverageTable writes a line a part and a summary: how many parts reach
// the share that the floor asks for, and what the others lack.
func writeCoverageTable(w io.Writer, covers []covered) {
	fmt.Fprintln(w, "part       steps     stuck-at        cells         pins       shorts  would pass as well")
	reached := 0
	var below []string
	for _, c := range covers {
		fmt.Fprintf(w, "%-8s %7d", c.Part, c.Steps)
		for _, t := range []fault.Tally{c.StuckAt, c.Cells, c.Pins, c.Shorts} {
			fmt.Fprintf(w, "  %11s", fmt.Sprintf("%d of %d", t.Detected, t.Detectable))
		}
		fmt.Fprintln(w, strings.TrimRight("  "+strings.Join(c.Intruders, " "), " "))
		if why := c.Coverage.BelowFloor(c.variant); why != "" {
			below = append(below, fmt.Sprintf("%s: %s", c.Part, why))
			continue
		}
		reached++
	}
	fmt.Fprintf(w, "\n%d of %d parts: at least %d %% of the detectable faults of every model are detected\n", reached, len(covers), fault.LeastPercent)
	for _, line := range below {
		fmt.Fprintf(w, "  %s\n", line)
	}
}

func writeCoverage(w io.Writer, c covered) {
	fmt.Fprintf(w, "%s: %s\n\n", c.Part, c.Statement())
	fmt.Fprintf(w, "steps        %d, %s\n", c.Steps, c.Method)
	models := []struct {
		label string
		fault.Tally
		more string
	}{
		{"stuck-at", c.StuckAt, ""}, {"cells", c.Cells, ""}, {"pin faults", c.Pins, ""},
		{"shorts", c.Shorts, fmt.Sprintf(": %d by the vectors, %d only by the test before power", c.ShortsByVectors, c.Shorts.Detected-c.ShortsByVectors)},
	}
	for _, m := range models {
		if m.Total == 0 {
			fmt.Fprintf(w, "%-12s none\n", m.label)
			continue
		}
		fmt.Fprintf(w, "%-12s %d of %d detectable detected%s\n", m.label, m.Detected, m.Detectable, m.more)
	}
	for _, m := range models {
		if n := m.Total - m.Detectable; n > 0 {
			fmt.Fprintf(w, "undetectable, proven: %s: %d\n", m.label, n)
		}
		for _, item := range m.Undetectable {
			fmt.Fprintf(w, "  %s\n", item)
		}
	}
	for _, m := range models {
		for _, item := range m.Missed {
			fmt.Fprintf(w, "not detected: %s: %s\n", m.label, item)
		}
	}
	for _, s := range c.Sections {
		for _, what := range s.Lacking {
			fmt.Fprintf(w, "not tested: %s: %s\n", s.Words(c.variant), what)
		}
	}
	if why := c.Coverage.BelowFloor(c.variant); why != "" {
		fmt.Fprintf(w, "below %d %%: %s\n", fault.LeastPercent, why)
	}
	if len(c.Intruders) > 0 {
		fmt.Fprintf(w, "would pass as well: %s\n", strings.Join(c.Intruders, " "))
	}
}

// writeCoverageJSON writes an array, one element a part.
func writeCoverageJSON(w io.Writer, covers []covered) error {
	type stuckAt struct {
		Classes    int `json:"classes"`
		Detectable int `json:"detectable"`
		Detected   int `json:"detected"`
	}
	type row struct {
		Part            string      `json:"part"`
		Steps           int         `json:"steps"`
		Method          string      `json:"method"`
		StuckAt         stuckAt     `json:"stuck_at"`
		CellFaults      fault.Tally `json:"cell_faults"`
		PinFaults       fault.Tally `json:"pin_faults"`
		Shorts          fault.Tally `json:"shorts"` // by the vectors or by the test before power
		ShortsByVectors int         `json:"shorts_by_vectors"`
		Undetected      []string    `json:"undetected"` // of every model: detectable, or not decided
		Below           string      `json:"below,omitempty"`
		Intruders       []string    `json:"intruders"`
		Statement       string      `json:"statement"`
	}
	rows := []row{}
	for _, c := range covers {
		rows = append(rows, row{
			Part: c.Part, Steps: c.Steps, Method: c.Method,
			StuckAt:    stuckAt{c.StuckAt.Total, c.StuckAt.Detectable, c.StuckAt.Detected},
			CellFaults: c.Cells.Counts(), PinFaults: c.Pins.Counts(), Shorts: c.Shorts.Counts(),
			ShortsByVectors: c.ShortsByVectors,
			Undetected:      append([]string{}, slices.Concat(c.StuckAt.Missed, c.Cells.Missed, c.Pins.Missed, c.Shorts.Missed)...),
			Below:           c.Coverage.BelowFloor(c.variant),
			Intruders:       append([]string{}, c.Intruders...), Statement: c.Statement(),
		})
	}
	return report.WriteJSON(w, rows)
}
