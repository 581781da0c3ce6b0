package conformance

import (
	"context"
	"errors"
	"testing"
	"time"

	"chipassay/host/adapter"
	"chipassay/host/link"
	"chipassay/protocol"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A released output follows the bias both ways, a driven one does not
// (design.md). 7412: a 7410 with open collectors.
func openCollector(t *testing.T, bench Bench) {
	_, seat := seat14(t, bench(t, "7412"))
	powerOn(t, seat)
	steps, pulledUp := nandSteps(8)
	for _, bias := range []adapter.Pull{adapter.High, adapter.Low, adapter.High} {
		read, err := seat.Apply(t.Context(), steps, bias)
		if err != nil {
			t.Fatal(err)
		}
		want := pulledUp
		if bias == adapter.Low {
			want = nil
			for _, s := range steps {
				want = append(want, s.Drive)
			}
		}
		compare(t, read, want)
	}
}

func emptySocket(t *testing.T, bench Bench) {
	_, seat := seat14(t, bench(t, ""))
	current, err := seat.PowerOn(t.Context(), limitMA)
	if err != nil {
		t.Fatal(err)
	}
	if current > 0.05 {
		t.Errorf("an empty socket takes %.2f mA", current)
	}
	for bias, want := range map[adapter.Pull]part.Pins{adapter.High: signals, adapter.Low: 0} {
		read, err := seat.Apply(t.Context(), make([]stimulus.Step, 1), bias)
		if err != nil {
			t.Fatal(err)
		}
		compare(t, read, []part.Pins{want})
	}
}

func overCurrent(t *testing.T, bench Bench) {
	for _, defect := range []string{"reversed", "14 shorted to 7"} {
		a, seat := seat14(t, bench(t, "7410", defect))
		if !a.Capabilities.Monitor {
			t.Logf("%s has no current monitor: only the fuse limits the current", a.Capabilities.Board)
			return
		}
		if _, err := seat.PowerOn(t.Context(), limitMA); !errors.Is(err, adapter.ErrOverCurrent) {
			t.Errorf("%s: %v, want ErrOverCurrent", defect, err)
		}
		mustBeSafe(t, a)
	}
}

func refusals(t *testing.T, bench Bench) {
	a, seat := seat14(t, bench(t, "7410"))
	steps, _ := nandSteps(8)
	if _, err := seat.Apply(t.Context(), steps, adapter.High); !errors.Is(err, protocol.NotPowered) {
		t.Errorf("steps without supply: %v, want NotPowered", err)
	}
	mustBeSafe(t, a)

	powerOn(t, seat)
	onSupply := []stimulus.Step{{Driven: part.PinSet(1, 14)}}
	if _, err := seat.Apply(t.Context(), onSupply, adapter.Off); !errors.Is(err, protocol.Conflict) {
		t.Errorf("driving the supply pin: %v, want Conflict", err)
	}
	mustBeSafe(t, a)
}

// pass lets time pass with the host silent.
func pass(t *testing.T, conn link.Conn, d time.Duration) {
	t.Helper()
	if c, ok := conn.(interface{ Pass(time.Duration) error }); ok {
		if err := c.Pass(d); err != nil {
			t.Fatal(err)
		}
		return
	}
	time.Sleep(d)
}

func silence(t *testing.T, bench Bench) {
	conn := bench(t, "7410")
	a, seat := seat14(t, conn)
	powerOn(t, seat)
	steps, want := nandSteps(8)

	pass(t, conn, time.Second) // not yet
	read, err := seat.Apply(t.Context(), steps, adapter.High)
	if err != nil {
		t.Fatalf("after a second: %v", err)
	}
	compare(t, read, want)

	pass(t, conn, 2300*time.Millisecond)
	if read, err := seat.Apply(t.Context(), steps, adapter.High); !errors.Is(err, adapter.ErrSilence) || len(read) != 0 {
		t.Errorf("after 2.3 s: %d readbacks, %v, want ErrSilence", len(read), err)
	}
	mustBeSafe(t, a)
}

func resetInTheMiddle(t *testing.T, bench Bench) {
	conn := bench(t, "7410")
	board, ok := conn.(interface{ Reset() error })
	if !ok {
		t.Log("this bench cannot reset its adapter")
		return
	}
	a, seat := seat14(t, conn)
	powerOn(t, seat)
	steps, _ := nandSteps(1000)
	requests := 0
	seat.Progress = func(int) {
		if requests++; requests == 2 {
			if err := board.Reset(); err != nil {
				t.Fatal(err)
			}
		}
	}
	read, err := seat.Apply(t.Context(), steps, adapter.High)
	if !errors.Is(err, adapter.ErrReset) || len(read) == 0 || len(read) == len(steps) {
		t.Errorf("%d of %d steps, %v, want ErrReset", len(read), len(steps), err)
	}
	mustBeSafe(t, a)
}

func cancelled(t *testing.T, bench Bench) {
	a, seat := seat14(t, bench(t, "7410"))
	powerOn(t, seat)
	ctx, cancel := context.WithCancel(t.Context())
	seat.Progress = func(int) { cancel() }
	steps, _ := nandSteps(1000)
	read, err := seat.Apply(ctx, steps, adapter.High)
	if !errors.Is(err, context.Canceled) || len(read) == 0 || len(read) == len(steps) {
		t.Errorf("%d of %d steps, %v, want Canceled", len(read), len(steps), err)
	}
	if s := mustBeSafe(t, a); s.SafeCause != protocol.SafeRequest {
		t.Errorf("safe for %v", s.SafeCause)
	}
}

// exchange sends bytes as they are and gives the sound frames that come within
// a quarter of a second after the last.
func exchange(t *testing.T, conn link.Conn, wire []byte) (frames []protocol.Frame) {
	t.Helper()
	if _, err := conn.Write(wire); err != nil {
		t.Fatal(err)
	}
	if err := conn.SetReadTimeout(250 * time.Millisecond); err != nil {
		t.Fatal(err)
	}
	var decoder protocol.Decoder
	buffer := make([]byte, 4096)
	for {
		n, err := conn.Read(buffer)
		if err != nil {
			t.Fatal(err)
		}
		if n == 0 {
			return frames
		}
		for f, err := range decoder.Feed(buffer[:n]) {
			if err == nil {
				frames = append(frames, f)
			}
		}
	}
}

// A counter of frames reports whether STATUS was executed again or its stored
// reply sent: SPEC.md, Requests that may be repeated.
func repeated(t *testing.T, bench Bench) {
	conn := bench(t, "")
	hello := protocol.Request(1, &protocol.Hello{}).Encode()
	status := protocol.Request(2, &protocol.Status{}).Encode()
	another := protocol.Request(3, &protocol.Status{}).Encode()
	exchange(t, conn, hello)
	var counts []uint16
	for _, wire := range [][]byte{status, status, another, append(append([]byte{}, another...), another...)} {
		for _, f := range exchange(t, conn, wire) {
			var s protocol.StatusReply
			if err := protocol.ReadReply(f, &s); err != nil {
				t.Fatal(err)
			}
			counts = append(counts, s.Frames)
		}
	}
	if len(counts) != 5 || counts[0] != counts[1] || counts[2] <= counts[1] || counts[3] != counts[2] || counts[4] != counts[2] {
		t.Errorf("frames counted in the replies: %v, want a a b b b", counts)
	}
}

func garbage(t *testing.T, bench Bench) {
	conn := bench(t, "7410")
	a, seat := seat14(t, conn)
	powerOn(t, seat)
	sound := protocol.Request(200, &protocol.Safe{}).Encode()
	damaged := append([]byte{}, sound...)
	damaged[3] ^= 0x40
	for name, wire := range map[string][]byte{
		"noise":             []byte("\x07noise\xff\x00\x00\x01\x00"),
		"a damaged SAFE":    damaged,
		"half a frame":      sound[:4],
		"much without end":  make([]byte, 0, 5000),
		"a frame too short": {2, 1, 1, 0},
	} {
		if name == "much without end" {
			for range 5000 {
				wire = append(wire, 0x55)
			}
		}
		if got := exchange(t, conn, append(wire, 0)); len(got) != 0 {
			t.Errorf("%s was answered: %v", name, got)
		}
		if _, err := a.Status(t.Context()); err != nil { // it is in step again, and hears a sound frame in time
			t.Fatalf("after %s: %v", name, err)
		}
	}
	s, err := a.Status(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if !s.Powered {
		t.Error("damaged frames made the socket safe")
	}
	if s.Damaged < 3 || s.Oversize < 1 {
		t.Errorf("counted %d damaged and %d oversize frames", s.Damaged, s.Oversize)
	}
	steps, want := nandSteps(8)
	read, err := seat.Apply(t.Context(), steps, adapter.High)
	if err != nil {
		t.Fatal(err)
	}
	compare(t, read, want)
}
