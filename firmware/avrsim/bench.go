//go:build simavr

package avrsim

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"sync"
	"time"

	"chipassay/firmware/images"
	"chipassay/host/virtual"
)

const (
	// slice is how long the program runs before the line is looked after again.
	slice = Hertz / 10_000 // 0.1 ms
	// quiet is how long nothing must have happened on the line and the busy lamp
	// been out for the firmware to be idle. It decodes a request while that comes
	// in, and replies as soon as the request is carried out.
	quiet = Hertz / 500 // 2 ms
	// turns is long enough for some turns of the idle firmware's main loop.
	turns = 2000
	// nap is how long an idle bench waits for bytes before it looks at the clock.
	nap = 5 * time.Millisecond
	// catchUp bounds the time that an idle program makes up for at once: on a machine
	// slower than the MCU it would come ever later to the next request.
	catchUp = 4 * nap
	// startTime is enough for the firmware to start and to listen.
	startTime = 20 * time.Millisecond
)

// ErrViolation is a program that made the carrier work against itself.
var ErrViolation = errors.New("the firmware did what the carrier must be kept from")

// A Bench is the adapter: a program in the simulated MCU on the carrier. While
// the program is busy its time passes as fast as the simulator goes; while it is
// idle, as Serve is asked.
type Bench struct {
	MCU     *MCU
	Carrier *Carrier

	using  sync.Mutex // of all of it
	follow bool       // an idle firmware through every turn of its loop, for the chip knows the time
	waited uint64     // cycles for which the program waited for the host

	heard, sent int // bytes that came over the line, and that went back
}

// NewBench starts the firmware's image on a socket.
func NewBench(socket *virtual.Socket) (*Bench, error) {
	return newBench(images.ATmega2560ELF, NewCarrier(socket))
}

func newBench(image []byte, carrier *Carrier) (*Bench, error) {
	b := &Bench{Carrier: carrier}
	var err error
	if b.MCU, err = NewMCU(image, b.Carrier); err != nil {
		return nil, err
	}
	b.Carrier.now = b.MCU.Cycles
	b.follow = carrier.Socket.KeepTime(func() time.Duration { return duration(b.MCU.Cycles()) })
	if m := b.Carrier.Monitor; m != nil {
		m.now = b.MCU.Cycles
		b.MCU.Bus = m
	}
	if err := b.start(); err != nil {
		b.Close()
		return nil, err
	}
	return b, nil
}

// start follows the program through all of its start, which looks idle from outside.
func (b *Bench) start() error { return errors.Join(b.MCU.Run(cyclesIn(startTime)), b.sound()) }

// Close ends the simulation; Serve must have ended.
func (b *Bench) Close() {
	b.using.Lock()
	defer b.using.Unlock()
	b.MCU.Close()
}

// Cycles is the MCU's time.
func (b *Bench) Cycles() uint64 {
	b.using.Lock()
	defer b.using.Unlock()
	return b.MCU.Cycles()
}

// Pass lets the adapter's time pass with nothing on the line.
func (b *Bench) Pass(d time.Duration) error {
	b.using.Lock()
	defer b.using.Unlock()
	return b.rest(cyclesIn(d))
}

// Reset pulls the MCU's reset line low for a moment, and lets the program start.
func (b *Bench) Reset() error {
	b.using.Lock()
	defer b.using.Unlock()
	b.MCU.Reset()
	return b.start()
}

// Swap puts a chip into the socket, or takes out what is there where it is nil.
func (b *Bench) Swap(chip *virtual.Chip) {
	b.using.Lock()
	defer b.using.Unlock()
	b.Carrier.Socket.Swap(chip)
	b.follow = b.Carrier.Socket.KeepTime(func() time.Duration { return duration(b.MCU.Cycles()) })
}

// Clip clips a capacitor to the side header; ClipResistor a resistor; Unclip takes all off.
func (b *Bench) Clip(c virtual.Capacitor) {
	b.using.Lock()
	defer b.using.Unlock()
	b.Carrier.Socket.Clip(c)
}

func (b *Bench) ClipResistor(r virtual.Resistor) {
	b.using.Lock()
	defer b.using.Unlock()
	b.Carrier.Socket.ClipResistor(r)
}

func (b *Bench) Unclip() {
	b.using.Lock()
	defer b.using.Unlock()
	b.Carrier.Socket.Unclip()
}

// Press puts the button down, or lets it go.
func (b *Bench) Press(down bool) {
	b.using.Lock()
	defer b.using.Unlock()
	b.Carrier.Pressed = down
}

// idle reports whether the firmware waits for a request.
func (b *Bench) idle() bool { return b.waiting() >= quiet }

// waiting is how many cycles the program has been waiting for the host.
func (b *Bench) waiting() uint64 { return min(b.Carrier.Idle(), b.MCU.LineQuiet()) }

// worked is the MCU's time less that in which it waited for the host, cycles.
func (b *Bench) worked() uint64 {
	b.using.Lock()
	defer b.using.Unlock()
	return b.MCU.Cycles() - b.waited - b.waiting()
}

// busy is the MCU's time in which it carried out requests, cycles.
func (b *Bench) busy() uint64 {
	b.using.Lock()
	defer b.using.Unlock()
	return b.Carrier.busy
}

// rest lets time pass. An idle firmware need not be followed through every turn
// of its loop: some do between two events in the hardware.
func (b *Bench) rest(cycles uint64) error {
	for end := b.MCU.Cycles() + cycles; b.MCU.Cycles() < end; {
		if err := b.MCU.Run(min(turns, end-b.MCU.Cycles())); err != nil {
			return err
		}
		// What is watched is followed, for an event is not always where the loop would look.
		if at := b.MCU.Cycles(); at < end && b.idle() && b.Carrier.Watch == nil && !b.follow {
			b.MCU.Skip(end - at)
		}
	}
	return b.sound()
}

// sound is an error when the program did what it must not.
func (b *Bench) sound() error {
	if v := b.Carrier.Violations; len(v) > 0 {
		return fmt.Errorf("%w:\n  %s", ErrViolation, strings.Join(v, "\n  "))
	}
	return nil
}

// work runs the program for a slice unless it is idle, and takes what it sent.
func (b *Bench) work() (sent []byte, idle bool, err error) {
	b.using.Lock()
	defer b.using.Unlock()
	idle = b.idle()
	if !idle {
		err = b.MCU.Run(slice)
	}
	sent = b.MCU.Sent() // while idle: of what was asked while time passed
	b.sent += len(sent)
	return sent, idle, errors.Join(err, b.sound())
}

func (b *Bench) send(bytes []byte) {
	b.using.Lock()
	defer b.using.Unlock()
	b.waited += b.waiting()
	b.heard += len(bytes)
	b.MCU.Send(bytes)
}

// done reports whether a host that wrote and read so many bytes has nothing more to
// wait for.
func (b *Bench) done(wrote, read int) bool {
	b.using.Lock()
	defer b.using.Unlock()
	return b.heard == wrote && b.sent == read && b.idle()
}

// A Clock says how the time of an idle adapter passes.
type Clock int

const (
	// RealTime passes as on the wall, no faster.
	RealTime Clock = iota
	// Halted passes by Pass alone: so a test does not hang on the speed of the
	// machine that it runs on.
	Halted
)

// Serve carries bytes between the line and the MCU until the context ends or the
// line does, which is no error, or the program does what it must not. It closes
// the line.
func (b *Bench) Serve(ctx context.Context, line io.ReadWriteCloser, clock Clock) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	context.AfterFunc(ctx, func() { line.Close() })
	arrived := make(chan []byte)
	go func() {
		defer close(arrived)
		listen(ctx, line, arrived)
	}()
	for at := time.Now(); ; {
		sent, idle, err := b.work()
		if err != nil {
			return err
		}
		if _, err := line.Write(sent); err != nil {
			return nil
		}
		select {
		case bytes, more := <-arrived:
			if !more {
				return nil
			}
			b.send(bytes)
		case <-after(idle, clock):
		}
		if !idle {
			at = time.Now()
		} else if clock == RealTime {
			passed := time.Since(at)
			at = at.Add(passed)
			if err := b.Pass(min(passed, catchUp)); err != nil {
				return err
			}
		}
	}
}

// now has come, always.
var now = func() <-chan time.Time {
	c := make(chan time.Time)
	close(c)
	return c
}()

// after is how long to wait for bytes: not at all while there is work.
func after(idle bool, clock Clock) <-chan time.Time {
	switch {
	case !idle:
		return now
	case clock == RealTime:
		return time.After(nap)
	}
	return nil
}

// listen hands on what comes over the line.
func listen(ctx context.Context, line io.Reader, arrived chan<- []byte) {
	for {
		buffer := make([]byte, 4096)
		n, err := line.Read(buffer)
		if n > 0 {
			select {
			case arrived <- buffer[:n]:
			case <-ctx.Done():
				return
			}
		}
		if err != nil {
			return
		}
	}
}
