// Package conformance tests, through host/adapter, that an adapter does what
// protocol/SPEC.md and the carrier's design demand. The virtual adapter and the AVR
// image in a simulated microcontroller run the same tests.
package conformance

import (
	"context"
	"slices"
	"testing"

	"chipassay/host/adapter"
	"chipassay/host/link"
	"chipassay/protocol"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A Bench gives a connection to an adapter that has just been reset, with a
// chip of the library in its socket ("7410"; "" for none) and defects as
// virtual.ParseDefect reads them. It ends what it started when the test does.
//
// Where the connection has a method Pass(time.Duration) error, time passes by it
// and not by waiting; where it has Reset() error, a reset in the middle is tested.
type Bench func(t testing.TB, chip string, defects ...string) link.Conn

// Run runs all conformance tests.
func Run(t *testing.T, bench Bench) {
	for _, c := range []struct {
		name string
		test func(*testing.T, Bench)
	}{
		{"Capabilities", capabilities},
		{"TruthTable", truthTable},
		{"ManySteps", manySteps},
		{"TurningDirections", turningDirections},
		{"OpenCollectorFollowsTheBias", openCollector},
		{"EmptySocketFollowsTheBias", emptySocket},
		{"SupplyCurrentIsLimited", overCurrent},
		{"RefusalMakesSafe", refusals},
		{"VoltagesOfAnEmptySocket", resistors},
		{"VoltagesOfAChip", levels},
		{"MeasuringIsRefused", measureRefusals},
		{"ManyMeasurements", manyMeasurements},
		{"Calibration", calibration},
		{"Sweeps", sweeps},
		{"Walks", walks},
		{"Programs", programs},
		{"Watches", watches},
		{"WatchesWithoutPower", watchesUnpowered},
		{"AWatchIsGuarded", watchIsGuarded},
		{"Silence", silence},
		{"ResetInTheMiddle", resetInTheMiddle},
		{"CancelledContextSwitchesOff", cancelled},
		{"RepeatedRequestIsNotCarriedOutTwice", repeated},
		{"GarbageOnTheLine", garbage},
	} {
		t.Run(c.name, func(t *testing.T) { c.test(t, bench) })
	}
}

// limitMA is enough for any small part and far below a short.
const limitMA = 100

func greet(t *testing.T, conn link.Conn) *adapter.Adapter {
	t.Helper()
	a, err := adapter.Open(t.Context(), link.New(conn, protocol.UsualRate))
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// seat14 greets the adapter and seats a 14-pin chip with corner supply.
func seat14(t *testing.T, conn link.Conn) (*adapter.Adapter, *adapter.Seat) {
	t.Helper()
	a := greet(t, conn)
	seat, err := a.Seat(14, 14, 7)
	if err != nil {
		t.Fatal(err)
	}
	return a, seat
}

func powerOn(t *testing.T, seat *adapter.Seat) {
	t.Helper()
	if _, err := seat.PowerOn(t.Context(), limitMA); err != nil {
		t.Fatal(err)
	}
}

// mustBeSafe asks for the state and checks that nothing is driven or on.
func mustBeSafe(t *testing.T, a *adapter.Adapter) protocol.StatusReply {
	t.Helper()
	s, err := a.Status(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	if s.Powered || s.High != 0 || s.Low != 0 || s.Driven != 0 || s.Bias != (protocol.Pull{}) || s.Load != (protocol.Pull{}) {
		t.Errorf("the socket is not safe: %+v", s)
	}
	return s
}

func capabilities(t *testing.T, bench Bench) {
	a := greet(t, bench(t, ""))
	c := a.Capabilities
	// design.md, The adapter, revision B
	sense := adapter.At(1, 2, 3, 4, 5, 6, 7, 8, 28, 27, 26, 25, 24, 23, 22, 21)
	if c.Positions != adapter.All || c.Sense != sense {
		t.Errorf("positions %v, sense at %v", c.Positions, c.Sense)
	}
	if want := adapter.At(1, 4, 5, 8, 22, 28); c.SupplyHigh != want {
		t.Errorf("high-side switches at %v, want %v", c.SupplyHigh, want)
	}
	if want := adapter.At(1, 4, 7, 8, 9, 10, 11, 12, 14, 21, 24, 25, 28); c.SupplyLow != want {
		t.Errorf("low-side switches at %v, want %v", c.SupplyLow, want)
	}
	if c.Bias == 0 || c.Load == 0 || c.SilenceMillis != 2000 || c.MaxCurrentMA > 320 || c.Board == "" {
		t.Errorf("%+v", c)
	}
	mustBeSafe(t, a)
}

// Pins of a 7410 (from memory of any data book): three gates of three inputs.
var gates7410 = []struct {
	inputs [3]int
	output int
}{{[3]int{1, 2, 13}, 12}, {[3]int{3, 4, 5}, 6}, {[3]int{9, 10, 11}, 8}}

// nandSteps drives the three gates of a 7410 through n vectors and gives for
// each the pins that must read high: a NAND is low only with all inputs high.
func nandSteps(n int) (steps []stimulus.Step, high []part.Pins) {
	for v := range n {
		var s stimulus.Step
		var outputs part.Pins
		for g, gate := range gates7410 {
			bits := (v >> g) & 7 // each gate another combination
			for i, pin := range gate.inputs {
				s.Driven = s.Driven.With(pin, true)
				s.Drive = s.Drive.With(pin, bits>>i&1 != 0)
			}
			outputs = outputs.With(gate.output, bits != 7)
		}
		steps = append(steps, s)
		high = append(high, s.Drive|outputs)
	}
	return steps, high
}

// signals are the pins of a 14-pin chip other than its supply.
var signals = part.PinSet(1, 2, 3, 4, 5, 6, 8, 9, 10, 11, 12, 13)

func compare(t *testing.T, read, want []part.Pins) {
	t.Helper()
	if len(read) != len(want) {
		t.Fatalf("%d readbacks for %d steps", len(read), len(want))
	}
	for i := range read {
		if got := read[i] & signals; got != want[i] {
			t.Fatalf("step %d: pins %v read high, want %v", i, got, want[i])
		}
	}
}

func truthTable(t *testing.T, bench Bench) {
	_, seat := seat14(t, bench(t, "7410"))
	current, err := seat.PowerOn(t.Context(), limitMA)
	if err != nil {
		t.Fatal(err)
	}
	// A 7410 takes some milliamperes, 16.5 mA at most (from memory, ICCL).
	if current >= 0 && (current < 1 || current > 16.5) {
		t.Errorf("supply current %.2f mA", current)
	}
	steps, want := nandSteps(32)
	for range 2 {
		read, err := seat.Apply(t.Context(), steps, adapter.High)
		if err != nil {
			t.Fatal(err)
		}
		compare(t, read, want)
	}
	if err := seat.PowerOff(t.Context()); err != nil {
		t.Fatal(err)
	}
}

func manySteps(t *testing.T, bench Bench) {
	_, seat := seat14(t, bench(t, "7410"))
	powerOn(t, seat)
	steps, want := nandSteps(1000)
	var progress []int
	seat.Progress = func(n int) { progress = append(progress, n) }
	read, err := seat.Apply(t.Context(), steps, adapter.High)
	if err != nil {
		t.Fatal(err)
	}
	compare(t, read, want)
	// A payload of about 1 KB carries about 250 levels of 4 bytes.
	if len(progress) > 5 || !slices.IsSorted(progress) || progress[len(progress)-1] != 1000 {
		t.Errorf("1000 steps went in requests that ended at %v", progress)
	}
}

// Inputs that are released in some steps float high on a TTL part (common
// practice) and are held high by the bias besides.
func turningDirections(t *testing.T, bench Bench) {
	_, seat := seat14(t, bench(t, "7410"))
	powerOn(t, seat)
	steps, want := nandSteps(300)
	for i := range steps {
		if i%3 != 1 {
			continue
		}
		released := part.PinSet(1, 3, 9)
		steps[i].Driven &^= released
		high := steps[i].Drive | released
		want[i] = high
		for _, g := range gates7410 {
			low := high.Has(g.inputs[0]) && high.Has(g.inputs[1]) && high.Has(g.inputs[2])
			want[i] = want[i].With(g.output, !low)
		}
	}
	read, err := seat.Apply(t.Context(), steps, adapter.High)
	if err != nil {
		t.Fatal(err)
	}
	compare(t, read, want)
}
