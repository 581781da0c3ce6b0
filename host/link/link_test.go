package link

import (
	"bytes"
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"chipassay/protocol"
)

// A note is a request, or its reply, with any payload: STATUS's type, echoed.
type note struct {
	reply   bool
	payload []byte
}

func (n *note) Type() protocol.Type {
	if n.reply {
		return protocol.TypeStatus.Reply()
	}
	return protocol.TypeStatus
}
func (n *note) Marshal() []byte          { return n.payload }
func (n *note) Unmarshal(p []byte) error { n.payload = bytes.Clone(p); return nil }
func send(l *Link, text string) (string, error) {
	reply := note{reply: true}
	err := l.Call(context.Background(), &note{payload: []byte(text)}, &reply, 0)
	return string(reply.payload), err
}

// every gives a fault that strikes the frames whose numbers, from 1, are given.
func every(strike func([]byte) []byte, numbers ...int) func([]byte) []byte {
	n := 0
	return func(frame []byte) []byte {
		if len(frame) <= 1 {
			return frame // a delimiter alone
		}
		n++
		for _, number := range numbers {
			if n == number {
				return strike(frame)
			}
		}
		return frame
	}
}

func lose([]byte) []byte           { return nil }
func double(frame []byte) []byte   { return append(bytes.Clone(frame), frame...) }
func truncate(frame []byte) []byte { return frame[:len(frame)/2] }
func flip(frame []byte) []byte {
	frame[len(frame)/2] ^= 0x10
	return frame
}
func litter(frame []byte) []byte {
	return append([]byte("\x07noise\xff\x00\x00\x01\x00"), frame...)
}

func TestCallOverATroubledLine(t *testing.T) {
	for name, c := range map[string]struct {
		request, reply func([]byte) []byte
		piece          int
		repeats        int
	}{
		"quiet line":             {},
		"a byte a read":          {piece: 1},
		"lost request":           {request: every(lose, 1), repeats: 1},
		"three lost requests":    {request: every(lose, 1, 2, 3), repeats: 3},
		"damaged request":        {request: every(flip, 1), repeats: 1},
		"half a request":         {request: every(truncate, 1), repeats: 1},
		"doubled request":        {request: every(double, 1, 2)},
		"lost reply":             {reply: every(lose, 1), repeats: 1},
		"damaged reply":          {reply: every(flip, 1), repeats: 1},
		"half a reply":           {reply: every(truncate, 1), repeats: 2}, // its rest is taken for the start of the next
		"doubled replies":        {reply: every(double, 1, 2, 3)},
		"garbage before replies": {reply: every(litter, 1, 2, 3)},
		"garbage before request": {request: every(litter, 1)},
	} {
		t.Run(name, func(t *testing.T) {
			conn := &fakeConn{t: t, request: c.request, reply: c.reply, piece: c.piece}
			l := conn.link(protocol.UsualRate)
			for _, text := range []string{"first", "", "third"} {
				got, err := send(l, text)
				if err != nil || got != text {
					t.Fatalf("sent %q: got %q, %v", text, got, err)
				}
			}
			if len(conn.executed) != 3 {
				t.Errorf("%d requests carried out, want 3", len(conn.executed))
			}
			if l.Repeats != c.repeats {
				t.Errorf("%d repeats, want %d", l.Repeats, c.repeats)
			}
		})
	}
}

func TestRepeatIsTheSameFrame(t *testing.T) {
	conn := &fakeConn{t: t, reply: every(lose, 1, 2)}
	if _, err := send(conn.link(protocol.UsualRate), "again"); err != nil {
		t.Fatal(err)
	}
	var frames [][]byte
	for _, w := range conn.written {
		if len(w) > 1 {
			frames = append(frames, w)
		}
	}
	if len(frames) != 3 || !bytes.Equal(frames[0], frames[1]) || !bytes.Equal(frames[0], frames[2]) {
		t.Errorf("frames written: %x", frames)
	}
}

func TestLateReplyIsNotTakenForTheNext(t *testing.T) {
	conn := &fakeConn{t: t}
	l := conn.link(protocol.UsualRate)
	conn.reply = lose
	if _, err := send(l, "lost"); !errors.Is(err, ErrTimeout) {
		t.Fatalf("got %v, want ErrTimeout", err)
	}
	conn.reply = nil
	conn.line = conn.answer // the reply to the request that was given up, now
	if got, err := send(l, "next"); err != nil || got != "next" {
		t.Errorf("got %q, %v", got, err)
	}
}

// A reply left over from another program's conversation may have the same seq.
func TestReplyOfAnotherTypeIsDropped(t *testing.T) {
	conn := &fakeConn{t: t}
	conn.line = protocol.Frame{Type: protocol.TypeSafe.Reply(), Seq: 1}.Encode()
	if got, err := send(conn.link(protocol.UsualRate), "first"); err != nil || got != "first" {
		t.Errorf("got %q, %v", got, err)
	}
}

// inAll is how often a host waits its time until it gives a request up: for the first
// answer, the second, twice for the third and four times for the fourth.
const inAll = 1 + 1 + 2 + 4

// SPEC.md, Requests that may be repeated: a host waits the time of both frames
// on the wire, that of the work, and 100 ms.
func TestTimeout(t *testing.T) {
	conn := &fakeConn{t: t, reply: lose}
	l := conn.link(protocol.UsualRate)
	err := l.Call(context.Background(), &note{}, &note{reply: true}, 50*time.Millisecond)
	if !errors.Is(err, ErrTimeout) || !strings.Contains(err.Error(), "STATUS") {
		t.Errorf("got %v", err)
	}
	if least, most := inAll*150*time.Millisecond, inAll*160*time.Millisecond; conn.waited < least || conn.waited > most {
		t.Errorf("waited %v, want %v to %v", conn.waited, least, most)
	}
	if len(conn.executed) != 1 {
		t.Errorf("carried out %d times", len(conn.executed))
	}
}

// On a slow line the wait grows by the time of both frames at 10 bits a byte: of a
// payload of n bytes 5 more, one in 254 of those, and the delimiter; the reply to a
// short request has up to 256 bytes of payload.
func TestTimeoutOnASlowLine(t *testing.T) {
	byteTime := 10 * time.Second / 38_400
	wire := func(n int) time.Duration { return time.Duration(n+5+(n+5+253)/254+1) * byteTime }
	for _, n := range []int{0, 256, 1000} {
		conn := &fakeConn{t: t, reply: lose}
		err := conn.link(38_400).Call(context.Background(), &note{payload: make([]byte, n)}, &note{reply: true}, 7*time.Millisecond)
		if !errors.Is(err, ErrTimeout) {
			t.Errorf("got %v", err)
		}
		want := inAll * (107*time.Millisecond + wire(n) + wire(max(n, 256)))
		if conn.waited < want-time.Millisecond || conn.waited > want+time.Millisecond {
			t.Errorf("after %d bytes it waited %v in all, want %v", n, conn.waited, want)
		}
	}
}

// A line that never falls silent is given up in the same time: each byte of noise
// takes its part of it.
func TestNoiseWithoutEnd(t *testing.T) {
	conn := &fakeConn{t: t, babble: time.Millisecond}
	err := conn.link(protocol.UsualRate).Call(context.Background(), &note{}, &note{reply: true}, 0)
	if !errors.Is(err, ErrTimeout) {
		t.Errorf("got %v", err)
	}
	if least, most := inAll*100*time.Millisecond, inAll*110*time.Millisecond; conn.waited < least || conn.waited > most {
		t.Errorf("waited %v, want %v to %v", conn.waited, least, most)
	}
}

func TestRefusal(t *testing.T) {
	conn := &fakeConn{t: t, handle: func(f protocol.Frame) protocol.Frame {
		refusal := protocol.ErrorReply{Code: protocol.NotPowered, Request: f.Type}
		return protocol.Frame{Type: protocol.TypeError, Seq: f.Seq, Payload: refusal.Marshal()}
	}}
	_, err := send(conn.link(protocol.UsualRate), "apply")
	var refusal *protocol.ErrorReply
	if !errors.Is(err, protocol.NotPowered) || !errors.As(err, &refusal) {
		t.Errorf("got %v", err)
	}
	if len(conn.executed) != 1 {
		t.Errorf("a refused request was sent %d times", len(conn.executed))
	}
}

func TestOtherVersion(t *testing.T) {
	conn := &fakeConn{t: t, handle: func(f protocol.Frame) protocol.Frame {
		refusal := protocol.ErrorReply{Code: protocol.BadVersion, Request: f.Type, Detail: 2}
		return protocol.Frame{Type: protocol.TypeError, Seq: f.Seq, Payload: refusal.Marshal()}
	}}
	if _, err := send(conn.link(protocol.UsualRate), "hello"); !errors.Is(err, protocol.ErrVersion) {
		t.Errorf("refused for its version: %v", err)
	}
}

func TestUnpluggedInTheMiddle(t *testing.T) {
	for name, unplug := range map[string]func(*fakeConn){
		"write": func(c *fakeConn) { c.writeErr = ErrUnplugged },
		"read":  func(c *fakeConn) { c.readErr = ErrUnplugged },
	} {
		conn := &fakeConn{t: t}
		l := conn.link(protocol.UsualRate)
		if _, err := send(l, "there"); err != nil {
			t.Fatal(err)
		}
		unplug(conn)
		if _, err := send(l, "gone"); !errors.Is(err, ErrUnplugged) {
			t.Errorf("%s: got %v, want ErrUnplugged", name, err)
		}
	}
}

func TestCancelledContextReturnsBetweenReads(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	conn := &fakeConn{t: t, reply: lose}
	reads := 0
	conn.onRead = func() {
		if reads++; reads == 2 {
			cancel()
		}
	}
	err := conn.link(protocol.UsualRate).Call(ctx, &note{}, &note{reply: true}, time.Hour)
	if !errors.Is(err, context.Canceled) || reads != 2 || conn.timeout > 20*time.Millisecond {
		t.Errorf("%v after %d reads of at most %v", err, reads, conn.timeout)
	}
	sent := len(conn.written)
	if err := conn.link(protocol.UsualRate).Call(ctx, &note{}, &note{reply: true}, 0); !errors.Is(err, context.Canceled) || len(conn.written) != sent {
		t.Errorf("already cancelled: %v, %d frames sent", err, len(conn.written)-sent)
	}
}

// Whatever the line loses, damages or doubles, a call gives the reply to its own
// request or an error, and no request is carried out twice.
func TestAnyTrouble(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		faults := []func([]byte) []byte{func(f []byte) []byte { return f }, lose, double, truncate, flip, litter}
		any := func(name string) func([]byte) []byte {
			return func(frame []byte) []byte {
				if len(frame) <= 1 {
					return frame
				}
				return rapid.SampledFrom(faults).Draw(r, name)(frame)
			}
		}
		conn := &fakeConn{t: t, request: any("request"), reply: any("reply"), piece: rapid.IntRange(0, 9).Draw(r, "piece")}
		l := conn.link(protocol.UsualRate)
		for i := range rapid.IntRange(1, 20).Draw(r, "calls") {
			text := strings.Repeat(string(rune('a'+i)), i)
			got, err := send(l, text)
			switch {
			case err != nil && !errors.Is(err, ErrTimeout):
				r.Fatalf("call %d: %v", i, err)
			case err == nil && got != text:
				r.Fatalf("call %d: %q is no answer to %q", i, got, text)
			}
		}
		seen := map[string]bool{}
		for _, f := range conn.executed {
			if seen[string(f.Payload)] {
				r.Fatalf("%q was carried out twice", f.Payload)
			}
			seen[string(f.Payload)] = true
		}
	})
}

// Whatever comes over the line, a call ends with the reply or an error.
func FuzzCall(f *testing.F) {
	f.Add([]byte{})
	f.Add([]byte("noise\x00\x01\x00"))
	f.Add(protocol.Frame{Type: protocol.TypeStatus.Reply(), Seq: 1, Payload: []byte("x")}.Encode())
	f.Add(protocol.Frame{Type: protocol.TypeError, Seq: 1}.Encode())
	f.Fuzz(func(t *testing.T, line []byte) {
		conn := &fakeConn{t: t, reply: lose, line: line}
		reply := protocol.StatusReply{}
		if err := New(conn, 0).Call(context.Background(), &protocol.Status{}, &reply, 0); err == nil && len(line) < 30 {
			t.Errorf("%x is taken for the reply to STATUS", line)
		}
	})
}
