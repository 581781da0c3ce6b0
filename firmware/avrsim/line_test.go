//go:build simavr

package avrsim

import (
	"bytes"
	"context"
	"errors"
	"io"
	"testing"
	"time"

	"chipassay/host/link"
	"chipassay/host/virtual"
	"chipassay/protocol"
)

// Every byte goes through the pseudo-terminal unchanged, both ways, and a
// program may close its end and another open it.
func TestPTYChangesNothing(t *testing.T) {
	pty, err := OpenPTY()
	if err != nil {
		t.Fatal(err)
	}
	defer pty.Close()
	every := make([]byte, 256)
	for i := range every {
		every[i] = byte(i)
	}
	for range 2 {
		conn, err := link.OpenPort(pty.Path, protocol.UsualRate)
		if err != nil {
			t.Fatal(err)
		}
		if err := conn.SetReadTimeout(5 * time.Second); err != nil {
			t.Fatal(err)
		}
		got := make([]byte, len(every))
		if _, err := conn.Write(every); err != nil {
			t.Fatal(err)
		}
		if _, err := io.ReadFull(pty, got); err != nil || !bytes.Equal(got, every) {
			t.Errorf("from the host: %v, %v", got, err)
		}
		if _, err := pty.Write(every); err != nil {
			t.Fatal(err)
		}
		if _, err := io.ReadFull(conn, got); err != nil || !bytes.Equal(got, every) {
			t.Errorf("to the host: %v, %v", got, err)
		}
		conn.Close()
	}
}

// hello greets the firmware without a host's program and gives its answer.
func hello(t *testing.T, b *Bench) (answer protocol.Capabilities, ok bool) {
	t.Helper()
	b.MCU.Send(append([]byte{0}, protocol.Request(1, &protocol.Hello{}).Encode()...))
	if err := b.Pass(100 * time.Millisecond); err != nil {
		t.Fatal(err)
	}
	var decoder protocol.Decoder
	for frame, err := range decoder.Feed(b.MCU.Sent()) {
		if err != nil || protocol.ReadReply(frame, &answer) != nil {
			t.Errorf("answered %v, %v", frame, err)
		}
		ok = true
	}
	return answer, ok
}

// SPEC.md, Line rate: a byte without a stop bit brings the adapter to 500,000 while
// nobody is heard at 1,000,000, another to 38,400, and 2 s of silence bring it back.
func TestLineRate(t *testing.T) {
	b, err := NewBench(virtual.NewSocket(nil, 1))
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	const usual, middle, slower = 160, 320, 52 * 8 * 10 // cycles a byte
	if got := b.MCU.ByteCycles(); got != usual {
		t.Fatalf("it starts at %d cycles a byte", got)
	}
	for _, want := range []uint64{middle, slower, slower} {
		b.MCU.SendBroken(16) // within one ms
		if err := b.Pass(20 * time.Millisecond); err != nil {
			t.Fatal(err)
		}
		if got := b.MCU.ByteCycles(); got != want {
			t.Fatalf("after delimiters of a slower rate %d cycles a byte, want %d", got, want)
		}
	}
	if _, ok := hello(t, b); !ok {
		t.Error("no answer at the slower rate")
	}
	if err := b.Pass(2100 * time.Millisecond); err != nil {
		t.Fatal(err)
	}
	if got := b.MCU.ByteCycles(); got != usual {
		t.Errorf("after a silence %d cycles a byte", got)
	}
	if _, ok := hello(t, b); !ok {
		t.Error("no answer at the usual rate")
	}
	b.MCU.SendBroken(16) // now that a host was heard, they are mere faults
	if err := b.Pass(20 * time.Millisecond); err != nil {
		t.Fatal(err)
	}
	if got := b.MCU.ByteCycles(); got != usual {
		t.Errorf("a fault on the line in use made it %d cycles a byte", got)
	}
}

// Over a reset the EEPROM stays, so that the boot id is another one.
func TestBootID(t *testing.T) {
	b, err := NewBench(virtual.NewSocket(nil, 1))
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	seen := map[uint16]bool{}
	for range 3 {
		c, ok := hello(t, b)
		if !ok || seen[c.BootID] {
			t.Errorf("boot id %d, again", c.BootID)
		}
		seen[c.BootID] = true
		if err := b.Reset(); err != nil {
			t.Fatal(err)
		}
	}
}

// Left alone, the adapter's time passes, and not faster than the wall's.
func TestRealTime(t *testing.T) {
	b, err := NewBench(virtual.NewSocket(nil, 1))
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	pty, err := OpenPTY()
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	if err := b.Pass(duration(quiet)); err != nil { // idle from the beginning
		t.Fatal(err)
	}
	from, began := b.Cycles(), time.Now()
	served := make(chan error)
	go func() { served <- b.Serve(ctx, pty, RealTime) }()
	for b.Cycles() < from+cyclesIn(50*time.Millisecond) {
		time.Sleep(time.Millisecond)
	}
	cancel()
	if err := <-served; err != nil {
		t.Error(err)
	}
	if passed, wall := duration(b.Cycles()-from), time.Since(began); passed > wall {
		t.Errorf("%v passed within %v", passed, wall)
	}
}

// An adapter that was left alone for a while answers the next request, and does not
// keep the answer until it is asked again.
func TestRealTimeAnswersAfterPauses(t *testing.T) {
	b, err := NewBench(virtual.NewSocket(nil, 1))
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	pty, err := OpenPTY()
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	served := make(chan error)
	go func() { served <- b.Serve(ctx, pty, RealTime) }()
	conn, err := link.OpenPort(pty.Path, protocol.UsualRate)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	if err := conn.SetReadTimeout(20 * time.Millisecond); err != nil {
		t.Fatal(err)
	}
	for seq := range uint8(20) {
		time.Sleep(13 * time.Millisecond) // not a multiple of the bench's naps
		if _, err := conn.Write(append([]byte{0}, protocol.Request(seq, &protocol.Hello{}).Encode()...)); err != nil {
			t.Fatal(err)
		}
		if !answered(t, b, conn, seq) {
			t.Fatal("10 s of the adapter's time passed, and no answer came at the first asking")
		}
	}
	cancel()
	if err := <-served; err != nil {
		t.Error(err)
	}
}

// answered reports whether the reply to a request comes before much of the adapter's time passes.
func answered(t *testing.T, b *Bench, conn io.Reader, seq uint8) bool {
	t.Helper()
	var decoder protocol.Decoder
	buffer := make([]byte, 256)
	for end := b.Cycles() + cyclesIn(10*time.Second); b.Cycles() < end; {
		n, err := conn.Read(buffer)
		if err != nil {
			t.Fatal(err)
		}
		for frame, err := range decoder.Feed(buffer[:n]) {
			if err == nil && frame.Seq == seq {
				return true
			}
		}
	}
	return false
}

// A firmware that does what it must not ends the bench.
func TestServeEndsOnViolation(t *testing.T) {
	p := newProbe(t, virtual.NewSocket(nil, 1))
	pty, err := OpenPTY()
	if err != nil {
		t.Fatal(err)
	}
	served := make(chan error)
	go func() { served <- p.Serve(t.Context(), pty, Halted) }()
	conn, err := link.OpenPort(pty.Path, protocol.UsualRate)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	if _, err := conn.Write([]byte{'w', ddrg, 0, biasOff}); err != nil { // on, and never cleared
		t.Fatal(err)
	}
	if err := <-served; !errors.Is(err, ErrViolation) {
		t.Errorf("served to the end with %v", err)
	}
}
