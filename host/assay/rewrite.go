package assay

import (
	"context"
	"fmt"
	"time"

	"chipassay/host/assay/memory"
	"chipassay/vectors/part"
)

// NoRewrite says why a type is not tested by writing all of it; nil where it is.
func NoRewrite(t part.Type) error {
	m := t.Variant.Memory
	switch {
	case m == nil || m.Kind != part.EEPROM:
		return fmt.Errorf("--erase-and-test is for an EEPROM, which a %s is not", t.Name())
	case t.Variant.Refusal != "":
		return fmt.Errorf("a %s must not be powered in the adapter: %s", t.Name(), t.Variant.Refusal)
	case m.NoRewrite != "":
		return fmt.Errorf("a %s is not written here: %s", t.Name(), m.NoRewrite)
	case m.Rewrite == nil:
		return fmt.Errorf("a %s is not written here: its definition has no rewrite statement", t.Name())
	}
	return nil
}

// RewriteEstimate says how long RunRewrite takes the adapter, to a first order.
func (p MemoryPlan) RewriteEstimate() time.Duration { return p.run().RewriteEstimate() }

// lost is said of an EEPROM once it may have been written.
const lost = "what it held is lost"

// RunRewrite tests an EEPROM by writing all of it, twice. It passes a chip only when every
// word was written both ways and read back. What the chip held is lost.
func RunRewrite(ctx context.Context, socket MemorySocket, p MemoryPlan) *Result {
	m := p.Type.Variant.Memory
	plan := p.plan()
	r := begin(plan)
	r.Comparison, r.VectorsPlanned = "every word read back, in the host", p.run().RewriteOperations()
	r.Method = fmt.Sprintf("%s: %d words of %d bits, pulse %v at least, %v a word", memory.RewriteMethod, m.Words, m.Bits, m.Rewrite.Pulse, m.Rewrite.Cycle)
	defer r.end()
	if err := NoRewrite(p.Type); err != nil {
		return r.notTested(err.Error())
	}
	if refused := r.mayPower(ctx, socket, plan); refused != nil {
		return refused
	}
	if !plan.wants(FunctionStage) {
		return r.notTested(r.onlyContact())
	}
	r.NotTested = append(r.NotTested, "Whether the writing of a word ever changes another: of two words, only what the lower one's does to the higher one shows for certain.")
	run := memory.NewRewriting(ctx, socket, p.run())
	r.Memory = run.Found
	err := r.powered(ctx, socket, func() error {
		if err := r.measureSupply(ctx, socket); err != nil {
			return err
		}
		err := run.Test()
		if err != nil || socket.Can().Measure == 0 || run.Found.FailureCount > 0 || !plan.wants(LevelStage) {
			return err
		}
		return r.measured(run.Levels())
	})
	r.NotTested = append(r.NotTested, r.Memory.NotTested...)
	r.VectorsApplied, r.FailureCount = r.Memory.Applied, r.Memory.FailureCount
	if err != nil {
		r.stopped(ctx, socket, plan, err)
		if run.Begun {
			r.Reason += "; " + lost
		}
		return r
	}
	r.judgeRewrite(run)
	r.doubt()
	return r.graded()
}

// judgeRewrite says what came of writing an EEPROM.
func (r *Result) judgeRewrite(run *memory.Rewriting) {
	r.Findings = run.Findings()
	if r.Seating != nil {
		r.Findings = append([]string{r.Seating.String()}, r.Findings...)
	}
	r.fail(r.Memory.Pins)
	switch {
	case len(r.Findings) > 0:
		r.Verdict, r.Reason = Fail, r.Findings[0]
	case run.Kept:
		r.notTested("it took no write: every word reads as before. It may be protected against writing by software, as a 28C64 or 28C256 can be, which is not lifted here; or its write circuit is dead")
		return
	case r.FailureCount > 0:
		r.Verdict, r.Reason = Fail, fmt.Sprintf("%d words were wrong", r.FailureCount)
	default:
		r.Verdict = Pass
		r.Reason = fmt.Sprintf("all %d words were written with a word and its complement and read back right; deselected, it released its outputs and took no write", r.Type.Variant.Memory.Words)
	}
	if run.Kept {
		return
	}
	if r.Reason += "; " + lost; len(r.Findings) > 0 {
		r.Findings[0] = r.Reason
	}
}
