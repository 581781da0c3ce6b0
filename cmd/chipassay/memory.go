package main

import (
	"errors"
	"fmt"
	"os"
	"time"

	"github.com/spf13/cobra"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/report"
	"chipassay/vectors/march"
	"chipassay/vectors/part"
)

// testMemory tests a memory by a march test.
func (f testFlags) testMemory(cmd *cobra.Command, sheet report.Sheet) error {
	typ := sheet.Result.Type
	if err := assay.NoTest(typ, sheet.Typed); err != nil {
		return err
	}
	if f.short || f.runs > 1 || f.soak > 0 || cmd.Flags().Changed("at-least") {
		return errors.New("--short, --repeat, --soak and --at-least are for logic: choose the length of a memory's test by --march")
	}
	test, err := march.ByName(f.march)
	if err != nil {
		return fmt.Errorf("--march: %w", err)
	}
	p := assay.MemoryPlan{Type: typ, Test: test, PowerAnyway: f.anyway, Others: f.definitions.circuits, Memories: f.definitions.memories}
	if p.Only, err = stages(f.only); err != nil {
		return err
	}
	a, err := f.open(cmd, typ)
	if err != nil {
		return err
	}
	defer a.Close()
	seat, err := seatOf(a, typ)
	if err != nil {
		return err
	}
	p.Progress = progressOf(cmd, p.Estimate())
	sheet.Result = assay.RunMemory(cmd.Context(), seat, p)
	nameAdapter(sheet.Result, a)
	return f.report(cmd, sheet)
}

// seatOf is the place of a type's package; nil for one that must not be powered.
func seatOf(a *adapter.Adapter, typ part.Type) (*adapter.Seat, error) {
	seat, err := a.SeatOf(typ.Variant)
	if err != nil {
		return nil, couldNotTest(err)
	}
	return seat, nil
}

// longWork is from when on a person wants to know how long it takes.
const longWork = time.Second

// progressOf says on a terminal how long the work will take, and draws a bar; nil elsewhere.
func progressOf(cmd *cobra.Command, estimate time.Duration) func(float64) {
	if !report.Colour(os.Stderr) || estimate < longWork {
		return nil
	}
	w := cmd.ErrOrStderr()
	fmt.Fprintf(w, "about %v\n", estimate.Round(100*time.Millisecond))
	ended := false
	return func(done float64) {
		if !ended {
			ended = done >= 1
			drawBar(w, done, fmt.Sprintf("%.0f %%", 100*done))
		}
	}
}
