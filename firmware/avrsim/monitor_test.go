//go:build simavr

package avrsim

import (
	"errors"
	"math"
	"testing"
	"time"

	"chipassay/firmware/images"
	"chipassay/host/adapter"
	"chipassay/host/link"
	"chipassay/host/virtual"
	"chipassay/protocol"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// The supply current reaches the host in the monitor's own steps of 100 µA, less what
// the switch's base takes: 0.75 V below 5 V through 2.2 kΩ and the 25 Ω of an output.
func TestMonitorIsRead(t *testing.T) {
	p := open(t, "7410")
	s := seat(t, p.Conn, named(t, "7410").Variant)
	if _, err := s.PowerOn(t.Context(), 100); err != nil {
		t.Fatal(err)
	}
	measured, err := s.Measure(t.Context(), []adapter.MeasureStep{{Bias: adapter.Low, Settle: adapter.CurrentSettle}})
	if err != nil {
		t.Fatal(err)
	}
	got := measured[0].CurrentMA
	const base = (5 - 0.75) / (2.2 + 0.025) // mA
	if want := float64(p.bench.Carrier.Socket.CurrentMicroamps())/1000 - base; math.Abs(got-want) > 0.11 {
		t.Errorf("%.2f mA, flowing are %.3f mA", got, want)
	}
}

// longestTrip is the time that SPEC.md allows from a current over the limit to
// the open switches.
const longestTrip = 2 * time.Millisecond

// The supply is shorted behind the monitor at moments that have every phase to
// its conversions, the timer and the steps, in the middle of what the adapter does.
func TestTrip(t *testing.T) {
	for _, c := range []struct {
		name  string
		begin time.Duration // from the request's first byte, well into it
		busy  func(t *testing.T, p port, s *adapter.Seat) error
	}{
		{"steps without settling", 10_700 * time.Microsecond, func(t *testing.T, p port, s *adapter.Seat) error {
			s.Settle = 0
			_, err := s.Apply(t.Context(), gray(256), adapter.High)
			return err
		}},
		{"steps of 5 µs", 10_900 * time.Microsecond, func(t *testing.T, p port, s *adapter.Seat) error {
			_, err := s.Apply(t.Context(), gray(256), adapter.High)
			return err
		}},
		{"steps of 20 ms", 50 * time.Millisecond, func(t *testing.T, p port, s *adapter.Seat) error {
			s.Settle = 20 * time.Millisecond
			_, err := s.Apply(t.Context(), gray(20), adapter.High)
			return err
		}},
		{"measuring", 2 * time.Millisecond, func(t *testing.T, p port, s *adapter.Seat) error {
			_, err := s.Measure(t.Context(), []adapter.MeasureStep{{Pins: part.PinSet(1, 2, 3, 4), Averaging: 7}})
			return err
		}},
		{"receiving", 3 * time.Millisecond, func(t *testing.T, p port, s *adapter.Seat) error {
			_, err := s.Apply(t.Context(), gray(256), adapter.High)
			return err
		}},
		{"replying", 17 * time.Millisecond, func(t *testing.T, p port, s *adapter.Seat) error {
			_, err := s.Apply(t.Context(), gray(256), adapter.High)
			return err
		}},
		{"watching", 20 * time.Millisecond, func(t *testing.T, p port, s *adapter.Seat) error {
			_, err := s.Watch(t.Context(), adapter.Watch{Pin: 12, Until: 60 * time.Millisecond, Actions: []adapter.WatchAction{{Bias: adapter.High}}})
			return err
		}},
		{"acting in a watch", 2400 * time.Microsecond, func(t *testing.T, p port, s *adapter.Seat) error {
			w := adapter.Watch{Pin: 12, Until: 60 * time.Millisecond}
			for i := range 8 {
				w.Actions = append(w.Actions, adapter.WatchAction{At: time.Duration(i) * 170 * time.Microsecond,
					Step: stimulus.Step{Driven: part.PinSet(1), Drive: part.Pins(i % 2)}, Bias: adapter.PullUp(part.PinSet(2 + i%2))})
			}
			_, err := s.Watch(t.Context(), w)
			return err
		}},
		{"idle", 0, func(t *testing.T, p port, s *adapter.Seat) error { return p.Pass(5 * time.Millisecond) }},
	} {
		t.Run(c.name, func(t *testing.T) {
			longest := time.Duration(0)
			for phase := range 12 {
				p := open(t, "7410")
				s := seat(t, p.Conn, named(t, "7410").Variant)
				if _, err := s.PowerOn(t.Context(), 100); err != nil {
					t.Fatal(err)
				}
				if _, err := s.Apply(t.Context(), gray(1), adapter.High); err != nil { // the bias
					t.Fatal(err)
				}
				// 91 µs is no part of 532, 400 or 1000 µs.
				shorted := p.bench.short(c.begin + time.Duration(phase)*91*time.Microsecond)
				if err := c.busy(t, p, s); err != nil && !errors.Is(err, adapter.ErrOverCurrent) {
					t.Fatal(err)
				}
				opened := p.bench.opened()
				if opened <= shorted {
					t.Fatalf("phase %d: not switched off after the short", phase)
				}
				longest = max(longest, duration(opened-shorted))
			}
			t.Logf("switched off within %v", longest)
			if longest >= longestTrip {
				t.Errorf("switched off after %v", longest)
			}
		})
	}
}

// short shorts the supply after a time, and gives the cycle at which it does.
func (b *Bench) short(after time.Duration) uint64 {
	b.using.Lock()
	defer b.using.Unlock()
	b.Carrier.Monitor.Short = b.MCU.Cycles() + cyclesIn(after)
	return b.Carrier.Monitor.Short
}

// opened is the cycle at which the supply was last switched off.
func (b *Bench) opened() uint64 {
	b.using.Lock()
	defer b.using.Unlock()
	return b.Carrier.opened
}

// A bench without a monitor says so; one whose monitor falls silent switches off.
func TestMonitorIsMissing(t *testing.T) {
	carrier := NewCarrier(virtual.NewSocket(nil, 1))
	carrier.Monitor = nil
	bench, err := newBench(images.ATmega2560ELF, carrier)
	if err != nil {
		t.Fatal(err)
	}
	p := serve(t, bench)
	a, err := adapter.Open(t.Context(), link.New(p.Conn, 0))
	if err != nil {
		t.Fatal(err)
	}
	if a.Capabilities.Monitor {
		t.Error("claims a monitor")
	}
}

func TestMonitorFallsSilent(t *testing.T) {
	p := open(t, "7410")
	s := seat(t, p.Conn, named(t, "7410").Variant)
	if _, err := s.PowerOn(t.Context(), 100); err != nil {
		t.Fatal(err)
	}
	p.bench.Carrier.Monitor.Silent = true
	if err := p.Pass(5 * time.Millisecond); err != nil {
		t.Fatal(err)
	}
	if p.bench.Carrier.Socket.Live() {
		t.Error("the supply is on without a monitor")
	}
	if _, err := s.Apply(t.Context(), make([]stimulus.Step, 1), adapter.High); !errors.Is(err, adapter.ErrFault) {
		t.Errorf("%v, want ErrFault", err)
	}
	if _, err := s.PowerOn(t.Context(), 100); !errors.Is(err, protocol.Fault) && !errors.Is(err, adapter.ErrFault) {
		t.Errorf("%v, want ErrFault", err)
	}
	p.bench.Carrier.Monitor.Silent = false
	if _, err := s.PowerOn(t.Context(), 100); err != nil {
		t.Error(err)
	}
}

// STATUS reports the button; the lamp shows the supply.
func TestButtonAndLamps(t *testing.T) {
	p := open(t, "7410")
	a, err := adapter.Open(t.Context(), link.New(p.Conn, 0))
	if err != nil {
		t.Fatal(err)
	}
	for _, pressed := range []bool{false, true, false} {
		p.bench.Carrier.Pressed = pressed
		status, err := a.Status(t.Context())
		if err != nil || status.Button != pressed {
			t.Errorf("pressed %v, reported %v, %v", pressed, status.Button, err)
		}
	}
	s, err := a.Seat(14, 14, 7)
	if err != nil {
		t.Fatal(err)
	}
	if !p.bench.Carrier.Ready() || p.bench.Carrier.Power() {
		t.Error("the lamps of an idle adapter")
	}
	if _, err := s.PowerOn(t.Context(), 100); err != nil || !p.bench.Carrier.Power() {
		t.Errorf("the power lamp is dark while the socket is supplied; %v", err)
	}
	if err := s.PowerOff(t.Context()); err != nil || p.bench.Carrier.Power() {
		t.Errorf("the power lamp is lit without supply; %v", err)
	}
}
