package assay

import (
	"context"
	"fmt"
	"slices"
	"time"

	"chipassay/host/adapter"
	"chipassay/protocol"
	"chipassay/vectors/march"
	"chipassay/vectors/part"
	"chipassay/vectors/proof"
)

// A MemorySocket is a Socket whose adapter runs programs by itself. *adapter.Seat is one.
type MemorySocket interface {
	Socket
	Program(driven, level part.Pins, settle time.Duration) *adapter.Program
	// Rails sets the rails and leaves all else as it is.
	Pulls(ctx context.Context, bias, load adapter.Pull) error
}

// A MemoryPlan is how a memory is tested.
type MemoryPlan struct {
	Type part.Type
	Only []Stage
	Test march.Test
	// PowerAnyway powers, at a low limit, what could not be told to lie right before power.
	PowerAnyway bool
	// Others and Memories are those of a Plan.
	Others   proof.Others
	Memories func() ([]*part.Part, error)
	// Progress, where it is set, is told how much of the test is done, 0 to 1.
	Progress func(done float64)
}

func (p MemoryPlan) plan() Plan {
	return Plan{Type: p.Type, Only: p.Only, PowerAnyway: p.PowerAnyway, Others: p.Others, Memories: p.Memories}
}

// A MemoryResult is what a march test found.
type MemoryResult struct {
	Test         string // its name
	Passes       []string
	Shape        march.Shape
	Failures     []march.Failure // the first of them, at least as many as there are words
	FailureCount int             // of reads

	// The same by what the run was for, their addresses by the array's lines.
	of         map[purpose][]march.Failure
	deselected []string // controls that were left inactive in vain
	forgetful  []string // what single cells that forget are said to do
}

// A purpose is what a run is for.
type purpose uint8

const (
	asked     purpose = iota // the test that was asked for
	retaining                // whether cells keep what they hold
	crossing                 // the other address order, and outputs that drive by themselves
)

// complete gives the failures of a test, without those of the last element and
// background where not all could be kept, unless there are no others.
func (m *MemoryResult) complete(p purpose) []march.Failure {
	all := m.of[p]
	if len(m.Failures) == m.FailureCount || len(all) == 0 {
		return all
	}
	last := all[len(all)-1]
	n := slices.IndexFunc(all, func(f march.Failure) bool { return f.Element == last.Element && f.Background == last.Background })
	if n == 0 {
		return all
	}
	return all[:n]
}

// mostFailures is how many failing reads of a memory are kept for the diagnosis:
// all of the first element that fails, whatever is wrong.
func mostFailures(m *part.Memory) int { return max(1<<14, m.Words+m.Words/8) }

// A pass is one run of a march test over the memory.
type pass struct {
	purpose    purpose
	test       march.Test
	background uint32
	order      march.AddressOrder
	bias       adapter.Pull
}

func (p pass) String() string {
	rail := map[adapter.Pull]string{adapter.High: "high", adapter.Low: "low"}[p.bias]
	return fmt.Sprintf("%s %v, background %b, %s, bias rail %s", p.test.Name, p.test, p.background, p.order.Name, rail)
}

// operations counts the reads and writes of a pass.
func (p pass) operations(m *part.Memory) int { return p.test.Operations() * m.Words }

// The tests that are run beside the one that was asked for: what a cell holds is
// left alone and read again; and the shortest test that finds every fault of the
// address decoder (van de Goor 1991).
var (
	retentionTest = known("retention", march.Parse, "{⇕(w0);Del;⇕(r0,w1);Del;⇕(r1)}")
	shortTest     = known("MATS+", march.ByName, "MATS+")
)

func known(name string, find func(string) (march.Test, error), text string) march.Test {
	t, err := find(text)
	if err != nil {
		panic(err) // a slip above
	}
	t.Name = name
	return t
}

// passes plans the runs of a test: with each data background; one for what the
// cells keep; and a short one in the other address order and under the low bias
// rail, which shows whether the outputs drive high by themselves.
func (p MemoryPlan) passes() (all []pass) {
	m := p.Type.Variant.Memory
	orders := march.Orders(m.RowBits, m.ColumnBits)
	for _, background := range march.Backgrounds(m.Bits) {
		all = append(all, pass{asked, p.Test, background, orders[0], adapter.High})
	}
	return append(all, pass{retaining, retentionTest, 0, orders[0], adapter.High},
		pass{crossing, shortTest, 0, orders[len(orders)-1], againstBias(p.Type)})
}

// againstBias is the level of the bias rail against which a memory's outputs show
// that they drive by themselves: those that drive low only have to fight the high one.
func againstBias(t part.Type) adapter.Pull {
	if t.Variant.Pins[t.Variant.Memory.DataOut[0]-1].Stage == part.OpenCollector {
		return adapter.High
	}
	return adapter.Low
}

// Estimate says how long the test of a memory, or the two readings of a ROM, take
// the adapter, to a first order.
func (p MemoryPlan) Estimate() time.Duration {
	m := p.Type.Variant.Memory
	if m.Kind.ROM() {
		return time.Duration(2*m.Words) * accessTime
	}
	wait, _ := retention(m)
	total := time.Duration(0)
	for _, run := range p.passes() {
		total += time.Duration(run.operations(m))*accessTime + time.Duration(run.test.Waits())*wait
	}
	return total
}

// accessTime is about what a read or a write takes the adapter (firmware/README.md).
const accessTime = 25 * time.Microsecond

// staticRetention is how long a static memory is left alone: a cell whose load is
// broken forgets within some ten milliseconds (van de Goor 1991).
const staticRetention = 100 * time.Millisecond

// pauseMargin is what the adapter may take beyond a pause of the refresh.
const pauseMargin = 2 * time.Millisecond

// retention is how long Del waits, and whether the refresh goes on: a dynamic memory
// is left without it for what its data sheet allows, where that can be kept to.
func retention(m *part.Memory) (wait time.Duration, refreshed bool) {
	if pause := m.RefreshWithin - pauseMargin; m.Kind == part.DynamicRAM && pause > 0 {
		return pause, false
	}
	return staticRetention, true
}

// RunMemory tests a memory by a march test. Like Run it passes a chip only when
// every planned read was made and compared.
func RunMemory(ctx context.Context, socket MemorySocket, p MemoryPlan) *Result {
	m := p.Type.Variant.Memory
	plan := p.plan()
	r := begin(plan)
	r.Comparison = "every readback, by the adapter"
	defer r.end()
	runs := p.passes()
	for _, run := range runs {
		r.VectorsPlanned += run.operations(m)
	}
	r.VectorsPlanned += memoryBench{t: p.Type, m: m}.deselections()
	r.Method = fmt.Sprintf("%s %v, %dn: %d reads and writes of %d words of %d bits", p.Test.Name, p.Test, p.Test.Operations(),
		r.VectorsPlanned, m.Words, m.Bits)
	if refused := r.mayPower(ctx, socket, plan); refused != nil {
		return refused
	}
	if !plan.wants(FunctionStage) {
		return r.notTested(r.onlyContact())
	}
	r.Memory = &MemoryResult{Test: p.Test.Name, of: map[purpose][]march.Failure{}, Shape: march.Shape{
		Words: m.Words, Bits: m.Bits, RowBits: m.RowBits, Multiplexed: m.Kind == part.DynamicRAM,
		Pins: slices.Concat(m.Row, m.Column),
	}}
	if err := r.powered(ctx, socket, func() error { return r.marches(ctx, socket, p, runs) }); err != nil {
		if r.afterTrip(ctx, socket, plan, err) {
			return r.graded()
		}
		return r.stopped(err)
	}
	if r.other.found() {
		r.FailureCount = r.Memory.FailureCount
		r.isAnother(r.other.numbers())
		return r.graded()
	}
	if r.judgeMemory(p.Test); r.Verdict == Fail {
		if words := r.unlike(); words != "" {
			r.Reason, r.Findings = words, []string{words + ": look at its marking"}
		}
	}
	r.doubt()
	return r.graded()
}

// marches makes all runs on the powered chip, and measures it where it is good.
func (r *Result) marches(ctx context.Context, socket MemorySocket, p MemoryPlan, runs []pass) error {
	if err := r.measureSupply(ctx, socket); err != nil {
		return err
	}
	w := marcher{ctx: ctx, bench: memoryBench{socket, r.Type, r.Type.Variant.Memory}, result: r, plan: p}
	for _, run := range runs {
		if err := w.against(&run); err != nil {
			return err
		}
		if err := socket.Pulls(ctx, run.bias, adapter.Off); err != nil {
			return err
		}
		r.Memory.Passes = append(r.Memory.Passes, run.String())
		if err := w.march(run); err != nil {
			return err
		}
	}
	meter, ok := socket.(LevelMeter)
	if ok && r.Memory.FailureCount > 0 {
		err := r.identify(ctx, meter, p.plan(), seatOf(r.Type))
		if r.other.found() {
			return nil
		}
		if err != nil {
			return err
		}
	}
	if err := w.forgetting(); err != nil {
		return err
	}
	if r.Memory.FailureCount == 0 || w.alwaysSelected() {
		if err := w.deselected(); err != nil {
			return err
		}
	}
	if !ok || r.Memory.FailureCount > 0 || !(Plan{Only: p.Only}).wants(LevelStage) {
		return nil
	}
	return w.levels(meter)
}

// against takes the high bias for a run against the low one, where the adapter could not
// read the memory's highs under that.
func (w marcher) against(run *pass) error {
	meter, ok := w.bench.socket.(LevelMeter)
	if !ok || run.bias != adapter.Low {
		return nil
	}
	word := uint32(0)
	if !w.bench.m.Inverted {
		word = 1<<w.bench.m.Bits - 1
	}
	if err := w.put(word); err != nil {
		return err
	}
	volts, lows, err := w.bench.hazyHigh(w.ctx, meter, 0, part.PinSet(w.bench.m.DataOut...))
	if err == nil && volts > 0 && lows == 0 { // what stands low shows in the run itself
		run.bias = adapter.High
		w.result.NotTested = append(w.result.NotTested, hazyWords(volts))
	}
	return err
}

// A marcher makes the runs of march tests on one memory.
type marcher struct {
	ctx    context.Context
	bench  memoryBench
	result *Result
	plan   MemoryPlan
}

// march makes one run, an element at a time.
func (w marcher) march(run pass) error {
	for i, element := range run.test.Elements {
		if element.Wait {
			if err := w.wait(run); err != nil {
				return err
			}
			continue
		}
		if err := w.element(run, i); err != nil {
			return err
		}
		w.result.VectorsApplied += len(element.Operations) * w.bench.m.Words
	}
	return nil
}

// runBudget is how long a program runs without a word to the host.
const runBudget = 250 * time.Millisecond

func (w marcher) wait(run pass) error {
	c := w.bench.program(w.bench.pinsOf(run.order))
	c.Wait(retention(w.bench.m))
	return w.run(c, func(adapter.Run) error { return nil })
}

// element runs one element of a march test and keeps the errors that it finds.
func (w marcher) element(run pass, number int) error {
	element := run.test.Elements[number]
	m := w.bench.m
	c := w.bench.program(w.bench.pinsOf(run.order))
	c.over(run.order, element.Order == march.Down, func() {
		for i, operation := range element.Operations {
			word := march.Word(run.background, operation.Value, m.Bits)
			if operation.Write {
				c.write(word)
			} else {
				c.Mark(uint8(i))
				c.expect(word)
			}
		}
	})
	before, errors := w.result.VectorsApplied, uint32(0)
	return w.run(c, func(now adapter.Run) error {
		w.result.Memory.FailureCount += int(now.Errors - errors)
		errors = now.Errors
		w.tell(before, len(element.Operations), now, run)
		return w.keep(run, number, now.Output)
	})
}

// run loads a program and lets it run to its end; errors are logged while there is
// room to keep them.
func (w marcher) run(c cycle, each func(adapter.Run) error) error {
	log := func() bool { return len(w.result.Memory.Failures) < mostFailures(w.bench.m) }
	return c.RunToEnd(w.ctx, runBudget, log, each)
}

// tell reports progress.
func (w marcher) tell(before, operations int, now adapter.Run, run pass) {
	if w.plan.Progress == nil {
		return
	}
	words := w.bench.m.Words
	if !now.Ended {
		words = int(now.Registers[0])
		if w.bench.m.Kind == part.DynamicRAM && run.order.Lines[0] == 0 {
			words = int(now.Registers[1]) << w.bench.m.RowBits
		} else if w.bench.m.Kind == part.DynamicRAM {
			words <<= w.bench.m.ColumnBits
		}
	}
	w.plan.Progress(float64(before+words*operations) / float64(w.result.VectorsPlanned))
}

// keep reads the records of errors that a program put out.
func (w marcher) keep(run pass, element int, output []byte) error {
	m := w.bench.m
	for ; len(output) > 0; output = output[protocol.ErrorRecordLen:] {
		record, err := protocol.ReadErrorRecord(output)
		if err != nil {
			return err
		}
		expected := march.Word(run.background, run.test.Elements[element].Operations[record.Mark].Value, m.Bits)
		seen := uint32(record.Seen)
		if m.Inverted {
			seen = ^seen & (1<<m.Bits - 1)
		}
		f := march.Failure{
			Address: w.bench.addressOf(run.order, record.Registers), Expected: expected, Seen: seen,
			Element: element, Background: run.background, AfterWait: afterWait(run.test, element, int(record.Mark)),
		}
		if kept := w.result.Memory; len(kept.Failures) < mostFailures(m) {
			atPins := f
			atPins.Address = kept.Shape.AtPins(f.Address)
			kept.Failures = append(kept.Failures, atPins)
			kept.of[run.purpose] = append(kept.of[run.purpose], f)
		}
	}
	return nil
}

// afterWait tells whether nothing was written to a word between a wait and an operation.
func afterWait(t march.Test, element, operation int) bool {
	if element == 0 || !t.Elements[element-1].Wait {
		return false
	}
	return !slices.ContainsFunc(t.Elements[element].Operations[:operation], func(o march.Operation) bool { return o.Write })
}
