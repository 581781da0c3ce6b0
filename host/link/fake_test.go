package link

import (
	"bytes"
	"testing"
	"time"

	"chipassay/protocol"
)

// A fakeConn is an adapter at the other end of a line, with whatever goes wrong
// on it. It carries out each request once and repeats its stored reply, as
// SPEC.md demands, and its time passes in reads that find nothing.
type fakeConn struct {
	t *testing.T

	// handle carries out a request; nil echoes the payload.
	handle func(protocol.Frame) protocol.Frame
	// request and reply change what passes on the line: nil is as it is.
	request, reply func(frame []byte) []byte
	piece          int           // bytes a read gives at most, 0 for any number
	babble         time.Duration // between the bytes of noise that come without end, 0 for none
	readErr        error         // what the next reads give
	writeErr       error         // and the next writes
	onRead         func()        // before each read
	limit          time.Duration // after which the test fails, 0 for a minute

	decoder  protocol.Decoder
	stored   []byte // frame of the last request
	answer   []byte // and its reply
	executed []protocol.Frame
	written  [][]byte
	line     []byte // towards the host
	timeout  time.Duration
	waited   time.Duration
	closed   bool
}

func echo(f protocol.Frame) protocol.Frame {
	return protocol.Frame{Type: f.Type.Reply(), Seq: f.Seq, Payload: f.Payload}
}

func (c *fakeConn) Write(p []byte) (int, error) {
	if c.closed {
		c.t.Fatal("write on a closed connection")
	}
	if c.writeErr != nil {
		return 0, c.writeErr
	}
	c.written = append(c.written, bytes.Clone(p))
	wire := bytes.Clone(p)
	if c.request != nil {
		wire = c.request(wire)
	}
	for f, err := range c.decoder.Feed(wire) {
		if err == nil {
			c.receive(f)
		}
	}
	return len(p), nil
}

func (c *fakeConn) receive(f protocol.Frame) {
	frame := f.Encode()
	if !bytes.Equal(frame, c.stored) || f.Type == protocol.TypeHello {
		c.executed = append(c.executed, f)
		handle := c.handle
		if handle == nil {
			handle = echo
		}
		c.stored, c.answer = frame, handle(f).Encode()
	}
	wire := bytes.Clone(c.answer)
	if c.reply != nil {
		wire = c.reply(wire)
	}
	c.line = append(c.line, wire...)
}

func (c *fakeConn) Read(p []byte) (int, error) {
	if c.closed {
		c.t.Fatal("read on a closed connection")
	}
	if c.onRead != nil {
		c.onRead()
	}
	if c.readErr != nil {
		return 0, c.readErr
	}
	if limit := max(c.limit, time.Minute); c.waited > limit {
		c.t.Fatalf("still reading after %v", c.waited)
	}
	if c.babble > 0 {
		c.waited += c.babble
		return copy(p, "\xff"), nil
	}
	if len(c.line) == 0 {
		c.waited += c.timeout
		return 0, nil
	}
	if c.piece > 0 {
		p = p[:min(len(p), c.piece)]
	}
	n := copy(p, c.line)
	c.line = c.line[n:]
	return n, nil
}

// link is a host's end of the line, on the connection's own time.
func (c *fakeConn) link(baud int) *Link {
	l := New(c, baud)
	l.now = func() time.Time { return time.Time{}.Add(c.waited) }
	return l
}

func (c *fakeConn) SetReadTimeout(d time.Duration) error { c.timeout = d; return nil }

func (c *fakeConn) Close() error { c.closed = true; return nil }
