package link

import (
	"context"
	"errors"
	"fmt"
	"time"

	"chipassay/protocol"
)

const (
	// greetings in a row before something else is tried (protocol/SPEC.md, Line rate).
	greetings = 3
	// bootTime is what a board may need that resets when its port is opened, to
	// leave its boot loader. It is also longer than the silence after which an
	// adapter listens for the slower rate.
	bootTime = 2200 * time.Millisecond
	// rateDelimiters at the slower rate make an adapter change to it, within rateChange.
	rateDelimiters = 16
	rateChange     = 10 * time.Millisecond
)

// Connect opens a port by name and finds the adapter at it: at the usual rate, at
// the usual rate once more after the time that a board takes to start, and at the
// slower rate. A port with no adapter behind it is ErrTimeout, after some 6 s.
func Connect(ctx context.Context, name string) (*Link, error) {
	return connect(ctx, name, OpenPort, bootTime)
}

func connect(ctx context.Context, name string, open func(string, int) (Conn, error), boot time.Duration) (*Link, error) {
	conn, err := open(name, protocol.UsualRate)
	if err != nil {
		return nil, err
	}
	l := New(conn, protocol.UsualRate)
	if err = l.greet(ctx); errors.Is(err, ErrTimeout) {
		if err = sleep(ctx, boot); err == nil {
			err = l.greet(ctx)
		}
	}
	if err == nil {
		return l, nil
	}
	l.Close()
	if !errors.Is(err, ErrTimeout) {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	if conn, err = open(name, protocol.SlowerRate); err != nil {
		return nil, err
	}
	l = New(conn, protocol.SlowerRate)
	if err := l.slower(ctx, boot); err != nil {
		l.Close()
		return nil, fmt.Errorf("%s, at %d and at %d baud: %w", name, protocol.UsualRate, protocol.SlowerRate, err)
	}
	return l, nil
}

// greet sends HELLO until it is answered, a few times.
func (l *Link) greet(ctx context.Context) error {
	if err := l.write([]byte{0}); err != nil { // ends what the line held before
		return err
	}
	return l.call(ctx, greetings, &protocol.Hello{}, &protocol.Capabilities{}, 0)
}

// slower waits until an adapter has heard no sound frame for long enough, and a
// board that reset again when its port was opened again has started; it makes
// the adapter change its rate, and greets it.
func (l *Link) slower(ctx context.Context, boot time.Duration) error {
	if err := sleep(ctx, boot); err != nil {
		return err
	}
	if err := l.write(make([]byte, rateDelimiters)); err != nil {
		return err
	}
	if err := sleep(ctx, rateDelimiters*bitsPerByte*time.Second/time.Duration(l.baud)+rateChange); err != nil {
		return err
	}
	return l.greet(ctx)
}

func sleep(ctx context.Context, d time.Duration) error {
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-time.After(d):
		return nil
	}
}
