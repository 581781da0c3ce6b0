//go:build simavr

package avrsim

import (
	"errors"
	"testing"
	"time"

	"chipassay/host/adapter"
	"chipassay/host/link"
	"chipassay/protocol"
)

// A caller sends requests as they are.
type caller struct {
	t    testing.TB
	line *link.Link
}

// powered greets the adapter and supplies a chip at two positions.
func powered(t testing.TB, conn link.Conn, high, low uint8) caller {
	t.Helper()
	c := caller{t, link.New(conn, protocol.UsualRate)}
	c.must(new(protocol.Hello), new(protocol.Capabilities))
	c.must(&protocol.Power{High: high, LimitMA: 100, SettleMS: 5, Low: positions(low)}, new(protocol.PowerReply))
	return c
}

func (c caller) call(request, reply protocol.Message) error {
	return c.line.Call(c.t.Context(), request, reply, time.Second)
}

func (c caller) must(request, reply protocol.Message) {
	c.t.Helper()
	if err := c.call(request, reply); err != nil {
		c.t.Fatal(err)
	}
}

func positions(numbers ...uint8) (w uint32) {
	for _, p := range numbers {
		w |= uint32(adapter.At(int(p)))
	}
	return w
}

// The inputs of a 74181 in its socket: A0-3, B0-3, S0-3, M and
// the carry (data books, from memory; its pins 13 to 24 stand 4 positions higher).
var inputs74181 = []uint8{2, 1, 27, 26, 25, 24, 23, 22, 6, 5, 4, 3, 8, 7}

// sweep74181 is all 2^14 inputs of a 74181 in Gray order, as a host asks for them.
func sweep74181(gray bool) *protocol.Sweep {
	return &protocol.Sweep{Gray: gray, Settle: 8, Direction: positions(inputs74181...), Count: 1 << 14, Block: 64,
		Mask: positions(9, 10, 11, 28-11, 28-10, 28-9, 28-8, 28-7), Positions: inputs74181}
}

// BenchmarkSweep is the exhaustive test of 14 inputs, settling 0.5 µs a step.
func BenchmarkSweep(b *testing.B) {
	for _, c := range []struct {
		name  string
		sweep *protocol.Sweep
	}{{"Gray", sweep74181(true)}, {"binary", sweep74181(false)}} {
		b.Run(c.name, func(b *testing.B) {
			p := open(b, "")
			conn := &counted{Conn: p.Conn}
			line := powered(b, conn, 28, 12)
			for b.Loop() {
				*conn = counted{Conn: p.Conn}
				busy, worked := p.bench.busy(), p.bench.worked()
				line.must(c.sweep, new(protocol.SweepReply))
				n := float64(c.sweep.Count)
				b.ReportMetric(float64(p.bench.busy()-busy)/n, "cycles-carried-out/step")
				b.ReportMetric(float64(p.bench.busy()-busy)/Hertz*1000, "MCU-ms-carried-out")
				b.ReportMetric(float64(p.bench.worked()-worked)/Hertz*1000, "MCU-ms-in-all")
				b.ReportMetric(float64(conn.out+conn.in)/n, "bytes/step")
			}
		})
	}
}

// The supply is shorted in the middle of a sweep.
func TestTripInSweeps(t *testing.T) {
	for _, settle := range []uint16{0, 8, 160, 3200, 65535} {
		longest := time.Duration(0)
		for phase := range 12 {
			p := open(t, "7410")
			line := powered(t, p.Conn, 28, 7)
			shorted := p.bench.short(5*time.Millisecond + time.Duration(phase)*91*time.Microsecond)
			err := line.call(&protocol.Sweep{Gray: true, Settle: settle, Direction: positions(1, 2, 3), Count: max(200, 100_000/(1+uint32(settle))),
				Block: 1000, Positions: []uint8{1, 2, 3}}, new(protocol.SweepReply))
			if !errors.Is(err, protocol.Overcurrent) {
				t.Fatalf("phase %d: %v", phase, err)
			}
			longest = max(longest, duration(p.bench.opened()-shorted))
		}
		t.Logf("settling %d/16 µs: switched off within %v", settle, longest)
		if longest >= longestTrip {
			t.Errorf("settling %d/16 µs: switched off after %v", settle, longest)
		}
	}
}
