// Package memory tests random-access memories by march tests, reads read-only ones, and
// writes EEPROMs whole where that is asked for. A march
// test runs as one program an element (A. J. van de Goor, Testing Semiconductor Memories,
// 1991; vectors/march); beside it cells are left alone for a time, the other address order
// is run under the low bias, and each select and enable is left inactive in turn.
package memory

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"chipassay/host/adapter"
	"chipassay/host/assay/levels"
	"chipassay/protocol"
	"chipassay/vectors/march"
	"chipassay/vectors/part"
)

// A Socket is the place of a powered memory in an adapter that runs programs by itself.
// *adapter.Seat is one.
type Socket interface {
	levels.Meter
	// Program begins a program with the pins that are driven and their levels.
	Program(driven, level part.Pins, settle time.Duration) *adapter.Program
	// Pulls sets the rails and leaves all else as it is.
	Pulls(ctx context.Context, bias, load adapter.Pull) error
}

// A Plan is how a memory is tested, or a ROM read.
type Plan struct {
	Type part.Type
	Test march.Test
	// Progress, if set, is called with the part done, 0 to 1.
	Progress func(done float64)
}

// A Result is what a march test found.
type Result struct {
	Test         string // its name
	Passes       []string
	Shape        march.Shape
	Failures     []march.Failure // the first of them, at least as many as there are words
	FailureCount int             // of reads
	Applied      int             // reads and writes
	NotTested    []string        // what these runs do not cover
	Deselected   []string        // controls that were left inactive in vain
	Pins         part.Pins       // of these controls

	// The same by what the run was for, their addresses by the array's lines.
	of        map[purpose][]march.Failure
	forgetful []string // what single cells that forget are said to do
}

// A purpose is what a run is for.
type purpose uint8

const (
	asked     purpose = iota // the test that was requested
	retaining                // whether cells keep what they hold
	crossing                 // the other address order, and outputs that drive by themselves
)

// complete gives the failures of a test, without those of the last element and
// background where not all could be kept, unless there are no others.
func (m *Result) complete(p purpose) []march.Failure {
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

// The tests that are run beside the one requested: what a cell holds is
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
func (p Plan) passes() (all []pass) {
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
func (p Plan) Estimate() time.Duration {
	m := p.Type.Variant.Memory
	if m.Kind.ROM() {
		return time.Duration(2*m.Words) * takeTime
	}
	wait, _ := retention(m)
	total := time.Duration(0)
	for _, run := range p.passes() {
		total += time.Duration(run.operations(m))*accessTime + time.Duration(run.test.Waits())*wait
	}
	return total
}

// accessTime is about what a read or a write of a march test takes the adapter
// (firmware/README.md); takeTime a word of a ROM with its way to the host, to a first order.
const (
	accessTime = 6 * time.Microsecond
	takeTime   = 50 * time.Microsecond
)

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

// against takes the high bias for a run against the low one, where the adapter could not
// read the memory's highs under that.
func (w *Run) against(run *pass) error {
	if run.bias != adapter.Low || w.socket.Can().Measure == 0 {
		return nil
	}
	if w.m.Kind != part.DynamicRAM {
		if err := w.put(w.reads(true)); err != nil {
			return err
		}
	}
	volts, lows, err := w.hazyHigh(w.ctx, 0, part.PinSet(w.m.DataOut...))
	if w.m.Kind == part.DynamicRAM && errors.Is(err, adapter.ErrCannot) {
		run.bias = adapter.High
		w.Found.NotTested = append(w.Found.NotTested, fmt.Sprintf("whether the outputs drive high by themselves: %v, and /RAS may be low for no more than 10 µs", err))
		return nil
	}
	if err == nil && volts > 0 && lows == 0 { // what stands low shows in the run itself
		run.bias = adapter.High
		w.Found.NotTested = append(w.Found.NotTested, hazyWords(volts))
	}
	return err
}

// A Run is the test of one powered memory.
type Run struct {
	bench
	Found *Result

	ctx  context.Context
	plan Plan
}

// NewRun begins the test of a memory.
func NewRun(ctx context.Context, socket Socket, p Plan) *Run {
	m := p.Type.Variant.Memory
	return &Run{bench{socket, p.Type, m}, &Result{Test: p.Test.Name, of: map[purpose][]march.Failure{}, Shape: march.Shape{
		Words: m.Words, Bits: m.Bits, RowBits: m.RowBits, Multiplexed: m.Kind == part.DynamicRAM,
		Pins: slices.Concat(m.Row, m.Column),
	}}, ctx, p}
}

// Operations counts the reads and writes of a test.
func (p Plan) Operations() int {
	b := bench{t: p.Type, m: p.Type.Variant.Memory}
	n := b.deselections()
	for _, run := range p.passes() {
		n += run.operations(b.m)
	}
	return n
}

// fits refuses a test with an element of more operations than a program has accesses.
func (p Plan) fits() error {
	for _, e := range p.Test.Elements {
		if n := len(e.Operations); n > protocol.MostAccesses {
			return fmt.Errorf("%w do more than %d operations in one element of a march test; this one has %d", adapter.ErrCannot, protocol.MostAccesses, n)
		}
	}
	return nil
}

// March makes all runs of march tests.
func (w *Run) March() error {
	if err := w.plan.fits(); err != nil {
		return err
	}
	for _, run := range w.plan.passes() {
		if err := w.against(&run); err != nil {
			return err
		}
		if err := w.socket.Pulls(w.ctx, run.bias, adapter.Off); err != nil {
			return err
		}
		w.Found.Passes = append(w.Found.Passes, run.String())
		if err := w.march(run); err != nil {
			return err
		}
	}
	return nil
}

// Follow looks again at a few cells that failed, and whether the memory is really deselected.
func (w *Run) Follow() error {
	err := w.forgetting()
	if err == nil && (w.Found.FailureCount == 0 || w.alwaysSelected()) {
		err = w.deselected()
	}
	return err
}

// march makes one run, an element at a time.
func (w *Run) march(run pass) error {
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
		w.Found.Applied += len(element.Operations) * w.m.Words
	}
	return nil
}

// runBudget is how long a program runs without a word to the host.
const runBudget = 250 * time.Millisecond

func (w *Run) wait(run pass) error {
	c := w.program(w.pinsOf(run.order))
	c.Wait(retention(w.m))
	return w.run(c, func(adapter.Run) error { return nil })
}

// element runs one element of a march test and keeps the errors that it finds.
func (w *Run) element(run pass, number int) error {
	element := run.test.Elements[number]
	m := w.m
	c := w.program(w.pinsOf(run.order))
	var accesses []adapter.Access
	for i, operation := range element.Operations {
		word := march.Word(run.background, operation.Value, m.Bits)
		access := c.write(word)
		if !operation.Write {
			access = c.expect(word)
			access.Mark = uint8(i)
		}
		accesses = append(accesses, access)
	}
	c.over(run.order, element.Order == march.Down, accesses...)
	before, errors := w.Found.Applied, uint32(0)
	return w.run(c, func(now adapter.Run) error {
		w.Found.FailureCount += int(now.Errors - errors)
		errors = now.Errors
		w.report(before, len(element.Operations), now, run)
		return w.keep(run, number, now.Output)
	})
}

// run loads a program and lets it run to its end; errors are logged while there is
// room to keep them.
func (w *Run) run(c cycle, each func(adapter.Run) error) error {
	log := func() bool { return len(w.Found.Failures) < mostFailures(w.m) }
	return c.RunToEnd(w.ctx, runBudget, log, each)
}

// report calls Progress.
func (w *Run) report(before, operations int, now adapter.Run, run pass) {
	if w.plan.Progress == nil {
		return
	}
	words := w.m.Words
	if !now.Ended {
		words = w.count([2]uint16(now.Registers[:2]))
		if w.m.Kind == part.DynamicRAM && run.order.Lines[0] == 0 {
			words = int(now.Registers[1]) << w.m.RowBits
		} else if w.m.Kind == part.DynamicRAM {
			words <<= w.m.ColumnBits
		}
	}
	w.plan.Progress(float64(before+words*operations) / float64(w.plan.Operations()))
}

// keep reads the records of errors that a program put out.
func (w *Run) keep(run pass, element int, output []byte) error {
	m := w.m
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
			Address: w.addressOf(run.order, record.Registers), Expected: expected, Seen: seen,
			Element: element, Background: run.background, AfterWait: afterWait(run.test, element, int(record.Mark)),
		}
		if kept := w.Found; len(kept.Failures) < mostFailures(m) {
			atPins := f
			atPins.Address = kept.Shape.AtPins(f.Address)
			kept.Failures = append(kept.Failures, atPins)
			kept.of[run.purpose] = append(kept.of[run.purpose], f)
		}
	}
	return nil
}

// afterWait reports whether nothing was written to a word between a wait and an operation.
func afterWait(t march.Test, element, operation int) bool {
	if element == 0 || !t.Elements[element-1].Wait {
		return false
	}
	return !slices.ContainsFunc(t.Elements[element].Operations[:operation], func(o march.Operation) bool { return o.Write })
}
