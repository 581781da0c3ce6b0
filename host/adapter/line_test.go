package adapter_test

import (
	"context"
	"errors"
	"math/rand/v2"
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

// A line is between the host and the virtual adapter, and damages what it carries.
type line struct {
	*virtual.Adapter
	random *rand.Rand
	loss   float64 // share of the writes and reads of which a byte is damaged
	gone   bool    // unplugged
}

func (l *line) harm(p []byte) {
	if len(p) > 0 && l.random.Float64() < l.loss {
		p[l.random.IntN(len(p))] ^= 1 << l.random.IntN(8)
	}
}

func (l *line) Write(p []byte) (int, error) {
	if l.gone {
		return 0, link.ErrUnplugged
	}
	p = append([]byte{}, p...)
	l.harm(p)
	return l.Adapter.Write(p)
}

func (l *line) Read(p []byte) (int, error) {
	if l.gone {
		return 0, link.ErrUnplugged
	}
	n, err := l.Adapter.Read(p)
	l.harm(p[:n])
	return n, err
}

// seat7410 puts a 7410 at the other end of a line and switches it on.
func seat7410(t *testing.T) (*line, *virtual.Socket, *adapter.Adapter, *adapter.Seat) {
	t.Helper()
	typ, err := library.Open("7410")
	if err != nil {
		t.Fatal(err)
	}
	chip, err := virtual.NewChip(typ)
	if err != nil {
		t.Fatal(err)
	}
	socket := virtual.NewSocket(chip, 1)
	board, err := virtual.Open(t.Context(), socket)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { board.Close() })
	l := &line{Adapter: board, random: rand.New(rand.NewPCG(1, 2))}
	a, err := adapter.Open(t.Context(), link.New(l, protocol.UsualRate))
	if err != nil {
		t.Fatal(err)
	}
	seat, err := a.Seat(14, 14, 7)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := seat.PowerOn(t.Context(), 100); err != nil {
		t.Fatal(err)
	}
	return l, socket, a, seat
}

// gate3 drives the inputs 9, 10 and 11 of a 7410's third gate through n
// vectors; its output is pin 8, low only when all three are high.
func gate3(n int) (steps []stimulus.Step) {
	for v := range n {
		inputs := part.Pins(v&7) << 8
		steps = append(steps, stimulus.Step{Driven: part.PinSet(9, 10, 11), Drive: inputs})
	}
	return steps
}

func TestDamageOnTheLineNeverShowsInTheReadback(t *testing.T) {
	l, _, a, seat := seat7410(t)
	l.loss = 0.2
	steps := gate3(8000)
	read, err := seat.Apply(t.Context(), steps, adapter.High)
	if err != nil && !errors.Is(err, link.ErrTimeout) {
		t.Fatal(err)
	}
	if err == nil && len(read) != len(steps) {
		t.Errorf("%d of %d steps and no error", len(read), len(steps))
	}
	for i, pins := range read {
		if got, want := pins.Has(8), i&7 != 7; got != want {
			t.Fatalf("step %d: pin 8 reads %v", i, got)
		}
	}
	if a.Repeats() == 0 {
		t.Error("nothing had to be repeated on a bad line")
	}
	t.Logf("%d of %d steps with %d repeats", len(read), len(steps), a.Repeats())
}

func TestUnpluggedInTheMiddle(t *testing.T) {
	l, socket, _, seat := seat7410(t)
	seat.Progress = func(int) { l.gone = true }
	steps := gate3(1000)
	read, err := seat.Apply(t.Context(), steps, adapter.High)
	if !errors.Is(err, link.ErrUnplugged) || len(read) == len(steps) {
		t.Errorf("%d of %d steps, %v, want ErrUnplugged", len(read), len(steps), err)
	}
	// The adapter, which still has its supply, makes the socket safe by itself (SPEC.md: 2 s).
	if !socket.Live() {
		t.Error("the socket is safe before the adapter can know")
	}
	if err := l.Pass(2100 * time.Millisecond); err != nil {
		t.Fatal(err)
	}
	if socket.Live() {
		t.Error("the supply is on 2.1 s after the last frame")
	}
}

func TestCancelledBeforeAndInTheMiddle(t *testing.T) {
	_, socket, _, seat := seat7410(t)
	ctx, cancel := context.WithCancel(t.Context())
	seat.Progress = func(int) { cancel() }
	if _, err := seat.Apply(ctx, gate3(10_000), adapter.High); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want Canceled", err)
	}
	if socket.Live() {
		t.Error("the supply is on after the context was cancelled")
	}
	if _, err := seat.PowerOn(ctx, 100); !errors.Is(err, context.Canceled) || socket.Live() {
		t.Errorf("switched on with a cancelled context: %v, supply %v", err, socket.Live())
	}
}

func TestCloseMakesSafe(t *testing.T) {
	_, socket, a, _ := seat7410(t)
	if !socket.Live() {
		t.Fatal("not switched on")
	}
	if err := a.Close(); err != nil {
		t.Error(err)
	}
	if socket.Live() {
		t.Error("the supply is on after Close")
	}
}

func TestImpossibleSettleMakesSafe(t *testing.T) {
	_, socket, _, seat := seat7410(t)
	seat.Settle = time.Second
	if _, err := seat.Apply(t.Context(), gate3(8), adapter.High); !errors.Is(err, adapter.ErrCannot) || socket.Live() {
		t.Errorf("%v, supply %v", err, socket.Live())
	}
}

func TestButtonIsTold(t *testing.T) {
	l, _, a, _ := seat7410(t)
	for _, pressed := range []bool{false, true, false} {
		l.Pressed = pressed
		s, err := a.Status(t.Context())
		if err != nil || s.Button != pressed {
			t.Errorf("pressed %v, reported %v, %v", pressed, s.Button, err)
		}
	}
}
