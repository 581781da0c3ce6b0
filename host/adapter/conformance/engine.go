package conformance

import (
	"testing"
	"time"

	"chipassay/host/adapter"
	"chipassay/protocol"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// engineSettle is more than a gate takes, and less than a host would wait.
const engineSettle = 500 * time.Nanosecond

// graySweep drives all nine inputs of a 7410 through the reflected binary code, and
// gives what must be read: a NAND is low only with all inputs high.
func graySweep() (steps []stimulus.Step, pins []int, e adapter.Expected) {
	e.Mask = signals
	for _, gate := range gates7410 {
		pins = append(pins, gate.inputs[:]...)
	}
	for i := range 1 << len(pins) {
		var s stimulus.Step
		for bit, pin := range pins {
			s.Driven = s.Driven.With(pin, true)
			s.Drive = s.Drive.With(pin, (i^i>>1)>>bit&1 != 0)
		}
		high := s.Drive
		for _, gate := range gates7410 {
			high = high.With(gate.output, part.PinSet(gate.inputs[:]...)&^s.Drive != 0)
		}
		steps = append(steps, s)
		e.High = append(e.High, high)
	}
	return steps, pins, e
}

// A sweep of a good chip has the signatures that are expected, whole and from the
// middle on; what is expected wrongly shows in its own block.
func sweeps(t *testing.T, bench Bench) {
	_, seat := seat14(t, bench(t, "7410"))
	powerOn(t, seat)
	steps, pins, e := graySweep()
	for _, bias := range []adapter.Pull{adapter.High, adapter.Low} {
		if wrong, err := seat.Sweep(t.Context(), steps, pins, engineSettle, e, bias); err != nil || len(wrong) > 0 {
			t.Fatalf("a good chip: %v, %v", wrong, err)
		}
	}
	e.High[300] = e.High[300].With(8, !e.High[300].Has(8))
	wrong, err := seat.Sweep(t.Context(), steps, pins, engineSettle, e, adapter.High)
	if err != nil || len(wrong) != 1 || wrong[0].From > 300 || wrong[0].To <= 300 || wrong[0].To-wrong[0].From > 64 {
		t.Errorf("one readback is expected wrongly in step 300: %v, %v", wrong, err)
	}
}

// A walk that repeats is carried out as often as it says, and its signature shows
// a single wrong readback.
func walks(t *testing.T, bench Bench) {
	_, seat := seat14(t, bench(t, "7410"))
	powerOn(t, seat)
	steps, _, e := graySweep()
	for range 300 { // pulses of pin 1
		last := steps[len(steps)-1]
		last.Drive ^= part.PinSet(1)
		steps = append(steps, last)
		e.High = append(e.High, e.High[len(e.High)-1]^part.PinSet(1)) // pins 2 and 13 are low in the last code, so 12 stays high
	}
	if right, err := seat.Walk(t.Context(), steps, engineSettle, e, adapter.High); err != nil || !right {
		t.Fatalf("a good chip: %v, %v", right, err)
	}
	e.High[700] ^= part.PinSet(6)
	if right, err := seat.Walk(t.Context(), steps, engineSettle, e, adapter.High); err != nil || right {
		t.Errorf("one readback is expected wrongly: %v, %v", right, err)
	}
}

// A program counts and logs the errors that it should.
func programs(t *testing.T, bench Bench) {
	_, seat := seat14(t, bench(t, "7410"))
	powerOn(t, seat)
	p := seat.Program(part.PinSet(1, 2, 13), 0, engineSettle)
	inputs, output := p.Group([]int{1, 2, 13}), p.Group([]int{12})
	p.Loop(0, 0, 7)
	p.Latch(inputs, 0)
	p.Show(inputs)
	p.Mark(9)
	p.Value(output, 1) // wrong where all three are high
	p.Check(output)
	p.Take(output)
	p.Next(0)
	if err := p.Load(t.Context()); err != nil {
		t.Fatal(err)
	}
	run, err := p.Run(t.Context(), 100*time.Millisecond, true)
	if err != nil || !run.Ended || run.Errors != 1 {
		t.Fatalf("%+v, %v", run, err)
	}
	// seven bytes of Take, then the record, then the last byte
	if len(run.Output) != 8+protocol.ErrorRecordLen {
		t.Fatalf("output of %d bytes", len(run.Output))
	}
	record, err := protocol.ReadErrorRecord(run.Output[7:])
	if err != nil || record.Mark != 9 || record.Registers[0] != 7 || record.Seen != 0 {
		t.Errorf("%+v, %v", record, err)
	}
	if _, err := seat.Apply(t.Context(), nil, adapter.High); err != nil {
		t.Fatal(err)
	}
	if err := seat.Pulls(t.Context(), adapter.Low, adapter.Off); err != nil {
		t.Fatal(err)
	}
	if _, err := p.Run(t.Context(), 100*time.Millisecond, false); err == nil {
		t.Error("another request forgets the program, and it ran")
	}
}
