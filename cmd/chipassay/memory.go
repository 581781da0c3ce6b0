package main

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/vectors/march"
	"chipassay/vectors/part"
)

// testMemory tests a memory by a march test.
func (f testFlags) testMemory(cmd *cobra.Command, c typedChip) error {
	typ := c.typ
	if f.erase {
		return f.testEEPROM(cmd, c)
	}
	if err := assay.NoTest(typ, c.typed); err != nil {
		return err
	}
	if f.short || f.runs > 1 || f.soak > 0 || cmd.Flags().Changed("at-least") {
		return errors.New("--short, --repeat, --soak and --at-least are for logic: choose the length of a memory's test by --march")
	}
	test, err := march.Read(f.march)
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
	r := assay.RunMemory(cmd.Context(), seat, p)
	nameAdapter(r, a)
	return f.report(cmd, c, r)
}

// seatOf is the place of a type's package; nil for one that must not be powered.
func seatOf(a *adapter.Adapter, typ part.Type) (*adapter.Seat, error) {
	seat, err := a.SeatOf(typ.Variant)
	if err != nil {
		return nil, couldNotTest(err)
	}
	return seat, nil
}
