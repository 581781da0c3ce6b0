// Package link carries requests to an adapter and its replies back over a
// serial line: ports, framing (protocol/SPEC.md), sequence numbers, timeouts and
// retries. A request may be repeated safely: an adapter that has executed it
// sends its stored reply again.
package link

import (
	"context"
	"errors"
	"fmt"
	"time"

	"chipassay/protocol"
)

// ErrTimeout is a request that was not answered, after all retries. A refusal is
// a *protocol.ErrorReply, another version of the protocol protocol.ErrVersion.
var ErrTimeout = errors.New("no answer from the adapter")

const (
	// tries of a request before it is given up.
	tries = 4
	// bridges is what USB serial bridges and the operating system may hold a
	// reply back, beyond its time on the wire and the adapter's work.
	bridges = 100 * time.Millisecond
	// tick bounds how long a cancelled context goes unnoticed.
	tick = 20 * time.Millisecond
	// bitsPerByte on the line: start, eight data, stop.
	bitsPerByte = 10
	// longestReply, bytes of payload, that a request shorter than its reply gets.
	longestReply = 256
)

// A Link is the host's end of the line. It has one request outstanding at a
// time and is for one goroutine at a time.
type Link struct {
	conn    Conn
	baud    int
	seq     uint8
	decoder protocol.Decoder
	buffer  [4096]byte
	now     func() time.Time

	// Slowed says why the line runs at a slower rate than the usual one; empty where it does not.
	Slowed string
	// Repeats counts the requests that were sent again.
	Repeats int
	// Carried counts the bytes of the requests that were answered and of their
	// answers, each once, as they are on the line at most.
	Carried int
}

// OnWire is the time that bytes take on a line at a rate in baud.
func OnWire(bytes, baud int) time.Duration {
	return time.Duration(bytes) * bitsPerByte * time.Second / time.Duration(baud)
}

// New makes a link of an open connection whose line runs at a rate in baud; 0
// where bytes take no time.
func New(conn Conn, baud int) *Link { return &Link{conn: conn, baud: baud, now: time.Now} }

// Close closes the connection.
func (l *Link) Close() error { return l.conn.Close() }

// Baud is the line's rate.
func (l *Link) Baud() int { return l.baud }

// Call sends a request and reads its reply. Work is how long the adapter may
// take to carry it out; the third and the fourth time that it asks it waits twice and four
// times as long. A refusal by the adapter comes back as a
// *protocol.ErrorReply, a request that stays unanswered as ErrTimeout; the
// context's end is noticed within 20 ms.
func (l *Link) Call(ctx context.Context, request, reply protocol.Message, work time.Duration) error {
	return l.call(ctx, tries, request, reply, work)
}

func (l *Link) call(ctx context.Context, tries int, request, reply protocol.Message, work time.Duration) error {
	l.seq++
	frame := protocol.Request(l.seq, request)
	wire := frame.Encode()
	patience := bridges + work + l.onWire(len(frame.Payload)) + l.onWire(max(longestReply, len(frame.Payload)))
	waited := time.Duration(0)
	for try := range tries {
		if err := ctx.Err(); err != nil {
			return named(request, err)
		}
		if try > 0 {
			l.Repeats++
			if err := l.write([]byte{0}); err != nil { // ends what the line may hold of a broken frame
				return named(request, err)
			}
		}
		if err := l.write(wire); err != nil {
			return named(request, err)
		}
		if try > 1 { // not a lost frame, it seems, but somebody slow: a hub, or a busy computer
			patience *= 2
		}
		waited += patience
		answer, err := l.await(ctx, request.Type(), patience)
		switch {
		case errors.Is(err, ErrTimeout):
			continue
		case err == nil:
			l.Carried += protocol.WireLen(len(frame.Payload)) + protocol.WireLen(len(answer.Payload))
			err = protocol.ReadReply(answer, reply)
		}
		return named(request, err)
	}
	return fmt.Errorf("%v: %w: asked %d times, waited %v", request.Type(), ErrTimeout, tries, waited.Round(time.Millisecond))
}

// named says which request an error belongs to; a refusal does so itself.
func named(request protocol.Message, err error) error {
	var refusal *protocol.ErrorReply
	switch {
	case err == nil:
		return nil
	case errors.Is(err, protocol.BadVersion):
		return fmt.Errorf("%w: %w", protocol.ErrVersion, err)
	case errors.As(err, &refusal):
		return err
	}
	return fmt.Errorf("%v: %w", request.Type(), err)
}

// onWire is the time that a frame with a payload of n bytes takes on the line.
func (l *Link) onWire(n int) time.Duration {
	if l.baud == 0 {
		return 0
	}
	return OnWire(protocol.WireLen(n), l.baud)
}

func (l *Link) write(p []byte) error {
	for len(p) > 0 {
		n, err := l.conn.Write(p)
		if err != nil {
			return err
		}
		p = p[n:]
	}
	return nil
}

// await reads until the reply to the outstanding request is there. Frames with
// another seq or type are late or repeated replies to earlier requests and are
// dropped, and so is what is damaged.
func (l *Link) await(ctx context.Context, t protocol.Type, patience time.Duration) (protocol.Frame, error) {
	for patience > 0 {
		if err := ctx.Err(); err != nil {
			return protocol.Frame{}, err
		}
		wait := min(tick, patience)
		if err := l.conn.SetReadTimeout(wait); err != nil {
			return protocol.Frame{}, err
		}
		began := l.now()
		n, err := l.conn.Read(l.buffer[:])
		if err != nil {
			return protocol.Frame{}, err
		}
		if n == 0 {
			patience -= wait // not the clock's time: a virtual adapter's passes at once
			continue
		}
		patience -= l.now().Sub(began)
		for frame, err := range l.decoder.Feed(l.buffer[:n]) {
			if errors.Is(err, protocol.ErrVersion) {
				return protocol.Frame{}, err
			}
			ours := frame.Seq == l.seq && (frame.Type == t.Reply() || frame.Type == protocol.TypeError)
			if err == nil && ours {
				return frame, nil
			}
		}
	}
	return protocol.Frame{}, ErrTimeout
}
