package virtual_test

import (
	"context"
	"math"
	"slices"
	"testing"
	"time"

	"chipassay/host/adapter"
	"chipassay/host/link"
	"chipassay/host/virtual"
	"chipassay/protocol"
	"chipassay/vectors/library"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// watching seats a chip of the library, powered, with what is clipped on.
func watching(t testing.TB, name string, clip func(*virtual.Socket), defects ...string) (*virtual.Socket, *adapter.Seat) {
	t.Helper()
	typ, err := library.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	var parsed []virtual.Defect
	for _, text := range defects {
		d, err := virtual.ParseDefect(text)
		if err != nil {
			t.Fatal(err)
		}
		parsed = append(parsed, d)
	}
	chip, err := virtual.NewChip(typ, parsed...)
	if err != nil {
		t.Fatal(err)
	}
	socket := virtual.NewSocket(chip, 1)
	clip(socket)
	conn, err := virtual.Open(t.Context(), socket)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	a, err := adapter.Open(t.Context(), link.New(conn, protocol.UsualRate))
	if err != nil {
		t.Fatal(err)
	}
	seat, err := a.SeatOf(typ.Variant)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := seat.PowerOn(t.Context(), 100); err != nil {
		t.Fatal(err)
	}
	return socket, seat
}

func drive(driven, high part.Pins) stimulus.Step { return stimulus.Step{Driven: driven, Drive: high} }

// A Schmitt-trigger inverter with 1 µF at its input 1A, its other inputs low: from 0 V the bias
// ramps the input up until the output 1Y falls, at VT+; from 5 V the drive pulls it down through
// 1 kΩ of load until it rises, at VT-. The bias or the load goes off at that moment, and the voltage is
// measured, 10 µs later, when a TTL input has charged the capacitor by some 12 mV. The thresholds are the typical
// ones: those of HC in proportion to its supply.
func TestThresholdsOfASchmittTrigger(t *testing.T) {
	for _, c := range []struct {
		name     string
		up, down float64
	}{{"7414", 1.7, 0.9}, {"74LS14", 1.6, 0.8}, {"74HC14", 2.6, 1.6}} {
		t.Run(c.name, func(t *testing.T) {
			_, seat := watching(t, c.name, func(s *virtual.Socket) { s.Clip(virtual.Capacitor{Farads: 1e-6, P: 1}) })
			const in, out = 1, 2
			rest := part.PinSet(3, 5, 9, 11, 13)
			set := func(driven, high part.Pins, bias, load adapter.Pull) {
				step := adapter.MeasureStep{Step: drive(rest|driven, high), Bias: bias, Load: load, Settle: 20 * time.Millisecond}
				if _, err := seat.Measure(t.Context(), []adapter.MeasureStep{step}); err != nil {
					t.Fatal(err)
				}
			}
			halt := &adapter.WatchAction{Step: drive(rest, 0)}
			set(part.PinSet(in), 0, adapter.Low, adapter.Off)
			up := mustWatch(t, seat, adapter.Watch{Pin: out, Until: 100 * time.Millisecond, Measure: in, Halt: halt,
				Actions: []adapter.WatchAction{{Step: drive(rest, 0), Bias: adapter.High}}})
			supply, err := seat.SupplyVolts(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			if c.name == "74HC14" {
				c.up, c.down = c.up*supply/5, c.down*supply/5
			}
			halted(t, up, false, c.up)
			set(part.PinSet(in), part.PinSet(in), adapter.Low, adapter.Off)
			pull := adapter.WatchAction{Step: drive(rest, 0), Load: adapter.Low, Bias: adapter.Low}
			if c.name == "7414" { // whose 1 mA the load does not carry away down to 1 V: the drive does
				pull = adapter.WatchAction{Step: drive(rest.With(in, true), 0), Bias: adapter.Low}
			}
			down := mustWatch(t, seat, adapter.Watch{Pin: out, Until: 100 * time.Millisecond, Measure: in, Halt: halt,
				Actions: []adapter.WatchAction{pull}})
			halted(t, down, true, c.down)
		})
	}
}

func mustWatch(t testing.TB, seat *adapter.Seat, w adapter.Watch) adapter.Watched {
	t.Helper()
	got, err := seat.Watch(context.Background(), w)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func halted(t *testing.T, w adapter.Watched, high bool, volts float64) {
	t.Helper()
	t.Logf("%v after %v, %.3f V", w.Stopped, w.Edges, w.Volts)
	if w.Stopped != protocol.StoppedByHalt || len(w.Edges) != 1 || w.Edges[0].High != high || w.High.Has(2) != high {
		t.Errorf("%+v", w)
	}
	if math.Abs(w.Volts-volts) > 0.013 {
		t.Errorf("%.3f V, want %.3f within 13 mV", w.Volts, volts)
	}
}

// A 7400 whose output 3 is 20 µs late: with 2 high, 1 is driven low at 0, 100 and 104 µs and high in
// between, so 3 rises at 20, falls at 70, rises at 120, falls at 122 and rises at 124 µs. The times are sums, and each edge lies in
// its gap: between actions that are close the position is looked at every half a µs.
func TestEdgesOfALateOutput(t *testing.T) {
	_, seat := watching(t, "7400", func(*virtual.Socket) {}, "3 late 20 us")
	const in, other = 1, 2
	both := part.PinSet(in, other)
	act := func(us int, high bool) adapter.WatchAction {
		return adapter.WatchAction{At: time.Duration(us) * time.Microsecond, Step: drive(both, part.PinSet(other).With(in, high))}
	}
	if _, err := seat.Apply(t.Context(), []stimulus.Step{drive(both, both), drive(both, both)}, adapter.Low); err != nil {
		t.Fatal(err)
	}
	if err := seat.Pulls(t.Context(), adapter.Low, adapter.Off); err != nil { // some time passes
		t.Fatal(err)
	}
	w := mustWatch(t, seat, adapter.Watch{Pin: 3, Until: time.Millisecond,
		Actions: []adapter.WatchAction{act(0, false), act(50, true), act(100, false), act(102, true), act(104, false)}})
	want := []float64{20, 70, 120, 122, 124}
	if len(w.Edges) != len(want) || w.Begin || !w.End || w.Stopped != protocol.StoppedByTime || len(w.Acted) != 5 {
		t.Fatalf("%+v", w)
	}
	for i, e := range w.Edges {
		if late := e.At.Seconds()*1e6 - want[i]; late < -1./16 || late > e.Gap.Seconds()*1e6+1./16 || e.High != (i%2 == 0) || e.Gap > adapter.WatchGap {
			t.Errorf("edge %d: %+v, want it at %v µs", i, e, want[i])
		}
	}
}

// A watch sees the same edges at the same times whenever it comes: what a time is rounded to does not add up. In between odd
// times pass, and the capacitor is charged and discharged by what the watch does alone.
func TestWatchIsTheSameAtAnyTime(t *testing.T) {
	socket := virtual.NewSocket(nil, 1)
	socket.Clip(virtual.Capacitor{Farads: 10e-9, P: 5})
	conn, err := virtual.Open(t.Context(), socket)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	a, err := adapter.Open(t.Context(), link.New(conn, protocol.UsualRate))
	if err != nil {
		t.Fatal(err)
	}
	seat, err := a.Seat(14, 14, 7)
	if err != nil {
		t.Fatal(err)
	}
	var first adapter.Watched
	for i := range 40 {
		if err := conn.Pass(time.Duration(i*i) * 1037 * time.Nanosecond); err != nil {
			t.Fatal(err)
		}
		w, err := seat.ProbeWatch(t.Context(), adapter.Watch{Pin: 5, Until: 4 * time.Millisecond, Measure: 5, Actions: []adapter.WatchAction{
			{Step: drive(part.PinSet(5), 0)}, {At: time.Millisecond, Bias: adapter.High}, {At: 2500 * time.Microsecond, Step: drive(part.PinSet(5), 0)}}})
		if err != nil {
			t.Fatal(err)
		}
		if i == 0 {
			first = w
		}
		if len(w.Edges) != 2 || !slices.Equal(w.Edges, first.Edges) || !slices.Equal(w.Acted, first.Acted) || w.Volts != first.Volts {
			t.Errorf("the %d. is %+v, the first was %+v", i+1, w, first)
		}
	}
}

// Before power: 0.47 µF at 5 is discharged through the drive for 10 ms and then charged by the bias. The
// position reads high at 0.6 of the supply, after RC ln(1 / 0.4), and the voltage is that.
func TestCapacitorIsMeasuredBeforePower(t *testing.T) {
	socket := virtual.NewSocket(nil, 1)
	socket.Clip(virtual.Capacitor{Farads: 0.47e-6, P: 5})
	conn, err := virtual.Open(t.Context(), socket)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	a, err := adapter.Open(t.Context(), link.New(conn, protocol.UsualRate))
	if err != nil {
		t.Fatal(err)
	}
	seat, err := a.Seat(14, 14, 7)
	if err != nil {
		t.Fatal(err)
	}
	w, err := seat.ProbeWatch(t.Context(), adapter.Watch{Pin: 5, Until: 100 * time.Millisecond, Measure: 5,
		Actions: []adapter.WatchAction{{Step: drive(part.PinSet(5), 0)}, {At: 10 * time.Millisecond, Bias: adapter.High}}, Halt: &adapter.WatchAction{}})
	if err != nil {
		t.Fatal(err)
	}
	want := 10_035 * 0.47 * math.Log(1/0.4) // µs
	if len(w.Edges) == 0 || math.Abs((w.Edges[len(w.Edges)-1].At-w.Acted[1]).Seconds()*1e6-want) > want/500 || math.Abs(w.Volts-0.6*5) > 0.02 {
		t.Errorf("%+v, want an edge after %.0f µs", w, want)
	}
}
