package link

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"chipassay/protocol"
)

// ErrRate is a line rate that no adapter takes.
var ErrRate = errors.New("no such line rate")

const (
	// greetings in a row before something else is tried (protocol/SPEC.md, Line rate).
	greetings = 3
	// bootTime is what a board may need that resets when its port is opened, to
	// leave its boot loader. It is also longer than the silence after which an
	// adapter listens for the slower rate.
	bootTime = 2200 * time.Millisecond
	// rateDelimiters at a slower rate make an adapter change to it, within rateChange.
	rateDelimiters = 16
	rateChange     = 10 * time.Millisecond
)

// Connect opens a port by name and finds the adapter at it: at the usual rate, once
// more when the board was reset and had time to start, and at the slower rates. A line
// that loses frames goes on at the next slower rate, and Slowed says so. With baud
// not 0 it tries that rate alone. A port with no adapter behind it is ErrTimeout,
// after some 9 s.
func Connect(ctx context.Context, name string, baud int) (*Link, error) {
	return connect(ctx, name, baud, openConn, bootTime)
}

func connect(ctx context.Context, name string, baud int, open func(string, int) (Conn, error), boot time.Duration) (*Link, error) {
	rates := protocol.Rates
	if baud != 0 {
		if !slices.Contains(rates, baud) {
			return nil, fmt.Errorf("%w: %d; it takes %s", ErrRate, baud, rateList(rates))
		}
		rates = []int{baud}
	}
	lossy := 0 // the slowest rate at which an adapter answered and frames were lost
	for _, rate := range rates {
		l, err := at(ctx, name, rate, open, boot)
		switch {
		case errors.Is(err, ErrTimeout):
			continue
		case err != nil:
			return nil, err
		}
		lost, err := l.trial(ctx)
		switch {
		case err != nil && !errors.Is(err, ErrTimeout):
			l.Close()
			return nil, fmt.Errorf("%s: %w", name, err)
		case (lost > 0 || err != nil) && rate != rates[len(rates)-1]:
			lossy = rate
			l.Close()
			continue
		case err != nil:
			l.Close()
			return nil, fmt.Errorf("%s, at %d baud: %w", name, rate, err)
		}
		if lossy != 0 {
			l.Slowed = fmt.Sprintf("the line loses frames at %d baud, so it continues at %d; a shorter cable or another USB port may help", lossy, rate)
		}
		return l, nil
	}
	return nil, fmt.Errorf("%s, at %s baud: %w", name, rateList(rates), ErrTimeout)
}

func rateList(rates []int) string {
	var words []string
	for _, rate := range rates {
		words = append(words, strconv.Itoa(rate))
	}
	return strings.Join(words, ", ")
}

// at opens a port at a rate and greets the adapter there.
func at(ctx context.Context, name string, rate int, open func(string, int) (Conn, error), boot time.Duration) (*Link, error) {
	conn, err := open(name, rate)
	if err != nil {
		return nil, err
	}
	l := New(conn, rate)
	if rate == protocol.UsualRate {
		if err = l.greet(ctx); errors.Is(err, ErrTimeout) {
			// A boot loader that heard these greetings waits for more, for ten seconds.
			// Opening the port again resets such a board, and then nothing disturbs it.
			l.Close()
			if conn, err = open(name, rate); err != nil {
				return nil, err
			}
			l = New(conn, rate)
			if err = sleep(ctx, boot); err == nil {
				err = l.greet(ctx)
			}
		}
	} else {
		err = l.slower(ctx, boot)
	}
	if err != nil {
		l.Close()
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return l, nil
}

// trials are the requests of which a good line loses none.
const trials = 16

// trial asks for the state a few times, once each, and counts what stays
// unanswered. Frames of the state's length are lost first where a bridge drops bytes.
func (l *Link) trial(ctx context.Context) (lost int, err error) {
	for range trials {
		err := l.call(ctx, 1, &protocol.Status{}, &protocol.StatusReply{}, 0)
		switch {
		case errors.Is(err, ErrTimeout):
			lost++
		case err != nil:
			return lost, err
		}
		if lost > trials/4 {
			return lost, fmt.Errorf("%w to %d of the first requests", ErrTimeout, lost)
		}
	}
	return lost, nil
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
