package assay

import (
	"context"
	"fmt"
	"time"

	"chipassay/host/assay/memory"
	"chipassay/host/probe"
	"chipassay/vectors/march"
	"chipassay/vectors/part"
	"chipassay/vectors/proof"
)

// A MemorySocket is a Socket whose adapter runs programs by itself. *adapter.Seat is one.
type MemorySocket interface {
	Socket
	memory.Socket
}

// A MemoryPlan is how a memory is tested.
type MemoryPlan struct {
	Type part.Type
	Only []Stage
	Test march.Test
	// PowerAnyway powers, at a low limit, what could not be shown to be seated right before power.
	PowerAnyway bool
	// Others and Memories are those of a Plan.
	Others   proof.Others
	Memories func() ([]*part.Part, error)
	// Progress, if set, is called with the part done, 0 to 1.
	Progress func(done float64)
}

func (p MemoryPlan) plan() (plan Plan) {
	plan.Type, plan.Only, plan.PowerAnyway, plan.Others, plan.Memories = p.Type, p.Only, p.PowerAnyway, p.Others, p.Memories
	return plan
}

func (p MemoryPlan) run() memory.Plan {
	return memory.Plan{Type: p.Type, Test: p.Test, Progress: p.Progress}
}

// Estimate says how long the test of a memory, or the two readings of a ROM, take
// the adapter, to a first order.
func (p MemoryPlan) Estimate() time.Duration { return p.run().Estimate() }

// RunMemory tests a memory by a march test. Like Run it passes a chip only when
// every planned read was made and compared.
func RunMemory(ctx context.Context, socket MemorySocket, p MemoryPlan) *Result {
	m := p.Type.Variant.Memory
	plan := p.plan()
	r := begin(plan)
	r.Comparison, r.VectorsPlanned = "every readback, by the adapter", p.run().Operations()
	defer r.end()
	r.Method = fmt.Sprintf("%s %v, %dn: %d reads and writes of %d words of %d bits", p.Test.Name, p.Test, p.Test.Operations(),
		r.VectorsPlanned, m.Words, m.Bits)
	if refused := r.mayPower(ctx, socket, plan); refused != nil {
		return refused
	}
	if !plan.wants(FunctionStage) {
		return r.notTested(r.onlyContact())
	}
	run := memory.NewRun(ctx, socket, p.run())
	r.Memory = run.Found
	err := r.powered(ctx, socket, func() error { return r.marches(ctx, socket, plan, run) })
	if r.VectorsApplied = r.Memory.Applied; err != nil {
		return r.stopped(ctx, socket, plan, err)
	}
	if r.other.found() {
		r.FailureCount = r.Memory.FailureCount
		r.isAnother(r.other.numbers())
		return r.graded()
	}
	if r.judgeMemory(p.Test); r.Verdict == Fail {
		if words := r.unlike(); words != "" {
			r.Reason, r.Findings = words, []string{words + ": check its marking"}
		}
	}
	r.doubt()
	return r.graded()
}

// marches makes all runs on the powered chip, and measures it where it is good.
func (r *Result) marches(ctx context.Context, socket MemorySocket, p Plan, run *memory.Run) error {
	if err := r.measureSupply(ctx, socket); err != nil {
		return err
	}
	err := run.March()
	r.NotTested = append(r.NotTested, r.Memory.NotTested...)
	if err != nil {
		return err
	}
	measures := socket.Can().Measure != 0
	if measures && r.Memory.FailureCount > 0 {
		err := r.identify(ctx, socket, p, probe.SeatOf(r.Type.Variant))
		if r.other.found() {
			return nil
		}
		if err != nil {
			return err
		}
	}
	if err := run.Follow(); err != nil || !measures || r.Memory.FailureCount > 0 || !p.wants(LevelStage) {
		return err
	}
	return r.measured(run.Levels())
}

// judgeMemory says what the failing cells mean.
func (r *Result) judgeMemory(test march.Test) {
	m := r.Memory
	r.FailureCount = m.FailureCount
	r.fail(m.Pins)
	switch {
	case m.FailureCount == 0 && r.Seating != nil:
		r.Verdict, r.Reason = Fail, r.Seating.String()
		return
	case m.FailureCount == 0:
		r.Verdict = Pass
		r.Reason = fmt.Sprintf("all %d reads and writes of the march test were right; deselected, it released its outputs and kept its contents", r.VectorsApplied)
		return
	case len(m.Deselected) > 0: // the other wrong reads follow from it
		r.Verdict, r.Findings, r.Reason = Fail, m.Deselected, m.Deselected[0]
		return
	}
	findings, pins := m.Diagnose(r.Type, test)
	if r.Verdict, r.Findings = Fail, findings; r.Seating != nil {
		r.Findings = append([]string{r.Seating.String()}, r.Findings...)
	}
	r.Reason = fmt.Sprintf("%d reads were wrong", m.FailureCount)
	if len(r.Findings) > 0 {
		r.Reason = r.Findings[0]
	}
	if r.fail(pins); len(r.PinsFailed) == 0 {
		r.fail(m.WrongOutputs(r.Type))
	}
}

// NoTest says why a memory that is typed so is not tested; nil where it is.
func NoTest(t part.Type, typed string) error {
	if m := t.Variant.Memory; m == nil || !m.Kind.ROM() {
		return nil
	}
	if t.Variant.Refusal != "" {
		return fmt.Errorf("a %s must not be powered in the adapter: %s", t.Name(), t.Variant.Refusal)
	}
	if t.Variant.Memory.Rewrite != nil {
		return fmt.Errorf("a test would erase what a %s holds: chipassay dump %s --compare FILE judges its contents; chipassay test %s --erase-and-test, written out, writes all of it, and what it holds is lost", t.Name(), typed, typed)
	}
	return fmt.Errorf("a %s is read-only: only its contents can be judged, with chipassay dump %s --compare FILE", t.Name(), typed)
}

// ReadROM reads a read-only memory, a byte a word, twice: with the bias rail high
// and, where its outputs drive both ways, low. The result says how the chip is seated
// and whether both readings agree; its verdict is never a pass, for what is right
// only a file to compare with can show. Without contents the result says why.
func ReadROM(ctx context.Context, socket MemorySocket, p MemoryPlan) ([]byte, *Result) {
	m := p.Type.Variant.Memory
	plan := p.plan()
	r := begin(plan)
	r.Comparison = "two readings with each other"
	r.Method, r.VectorsPlanned = fmt.Sprintf("every one of %d words of %d bits read", m.Words, m.Bits), 2*m.Words
	defer r.end()
	if refused := r.mayPower(ctx, socket, plan); refused != nil {
		return nil, refused
	}
	var read memory.Contents
	err := r.powered(ctx, socket, func() (err error) {
		if err := r.measureSupply(ctx, socket); err != nil {
			return err
		}
		read, err = memory.Read(ctx, socket, p.run())
		return err
	})
	r.VectorsApplied, r.Findings, r.FailureCount = read.Applied, read.Findings, read.Failures
	r.NotTested = append(r.NotTested, read.NotTested...)
	if r.fail(read.Pins); read.Selected != "" {
		r.Selected = read.Selected
		r.Method += "; selected by " + read.Selected
	}
	switch {
	case err != nil:
		return nil, r.notTested(unfinished(err))
	case r.FailureCount > 0:
		r.Verdict, r.Reason = Fail, r.Findings[0]
		return read.Words, r
	}
	return read.Words, r.notTested("two reads were identical; only a file to compare with can show whether they are right")
}
