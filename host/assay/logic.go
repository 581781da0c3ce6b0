package assay

import (
	"context"
	"fmt"

	"chipassay/host/assay/memory"
)

// ReadLogic reads combinational logic with the pins of a ROM, such as programmable logic: all
// combinations of the plan's address pins, with the bias high and low, and in several
// orders. Like ReadROM it says how the chip is seated, and never passes it. Without a
// table the result says why.
func ReadLogic(ctx context.Context, socket MemorySocket, p MemoryPlan, pins []int) (t memory.Table, read bool, r *Result) {
	m := p.Type.Variant.Memory
	plan := p.plan()
	r = begin(plan)
	r.Comparison = "five readings with each other"
	r.Method, r.VectorsPlanned = fmt.Sprintf("all %d combinations of %d inputs", m.Words, len(m.Address)), memory.LogicReadings*m.Words
	defer r.end()
	if refused := r.mayPower(ctx, socket, plan); refused != nil {
		return t, false, refused
	}
	err := r.powered(ctx, socket, func() (err error) {
		if err := r.measureSupply(ctx, socket); err != nil {
			return err
		}
		t, err = memory.ReadLogic(ctx, socket, p.run(), pins)
		return err
	})
	if err != nil {
		return t, false, r.notTested(unfinished(err))
	}
	r.VectorsApplied = r.VectorsPlanned
	return t, true, r.notTested("what programmable logic holds is read; only a table to compare with can show whether it is right")
}
