package link

import (
	"bytes"
	"context"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"chipassay/protocol"
)

// hello answers greetings and questions for the state, and echoes what else comes.
func hello(f protocol.Frame) protocol.Frame {
	switch f.Type {
	case protocol.TypeHello:
	case protocol.TypeStatus:
		return protocol.Frame{Type: f.Type.Reply(), Seq: f.Seq, Payload: new(protocol.StatusReply).Marshal()}
	default:
		return echo(f)
	}
	c := protocol.Capabilities{Protocol: protocol.Version, MaxPayload: 1024, MaxSteps: 256, Board: "fake"}
	return protocol.Frame{Type: f.Type.Reply(), Seq: f.Seq, Payload: c.Marshal()}
}

// rates are what becomes of the requests at each rate.
type rates map[int]func([]byte) []byte

// except lets the given frames through and does something to all others.
func except(do func([]byte) []byte, frames ...int) func([]byte) []byte {
	n := 0
	return func(p []byte) []byte {
		n++
		if slices.Contains(frames, n) {
			return p
		}
		return do(p)
	}
}

func TestConnect(t *testing.T) {
	for name, c := range map[string]struct {
		at     map[int]func([]byte) []byte // what becomes of the requests at each rate
		asked  int                         // the rate asked for, 0 for any
		baud   int
		err    error
		slowed string
	}{
		"answers at once":                {baud: 1_000_000},
		"starts anew when opened":        {at: rates{1_000_000: every(lose, 1, 2, 3)}, baud: 1_000_000},
		"only half the rate":             {at: rates{1_000_000: lose}, baud: 500_000},
		"only the slowest":               {at: rates{1_000_000: lose, 500_000: lose}, baud: 38_400},
		"nothing there":                  {at: rates{1_000_000: lose, 500_000: lose, 38_400: lose}, err: ErrTimeout},
		"half the rate on the last time": {at: rates{1_000_000: lose, 500_000: every(lose, 2, 3)}, baud: 500_000}, // 1 are the delimiters
		"loses one of the first frames":  {at: rates{1_000_000: every(lose, 7)}, baud: 500_000, slowed: "at 1000000 baud, so it continues at 500000"},
		"loses most of the first frames": {at: rates{1_000_000: except(lose, 2)}, baud: 500_000, slowed: "at 1000000 baud"},
		"loses frames at two rates":      {at: rates{1_000_000: every(lose, 9), 500_000: every(lose, 9)}, baud: 38_400, slowed: "at 500000 baud, so it continues at 38400"},
		"loses a frame at the slowest":   {at: rates{38_400: every(lose, 9)}, asked: 38_400, baud: 38_400},
		"asked for":                      {asked: 500_000, baud: 500_000},
		"no such rate":                   {asked: 9600, err: ErrRate},
	} {
		t.Run(name, func(t *testing.T) {
			var open, slower []*fakeConn
			l, err := connect(context.Background(), "COM7", c.asked, func(_ string, baud int) (Conn, error) {
				conn := &fakeConn{t: t, handle: hello, request: c.at[baud]}
				if open = append(open, conn); baud != protocol.UsualRate {
					slower = append(slower, conn)
				}
				return conn, nil
			}, 0)
			if !errors.Is(err, c.err) {
				t.Fatalf("got %v, want %v", err, c.err)
			}
			for _, slower := range slower { // SPEC.md, Line rate
				if !bytes.Equal(slower.written[0], make([]byte, 16)) {
					t.Errorf("at a slower rate it began with %x, not sixteen delimiters", slower.written[0])
				}
			}
			for i, conn := range open {
				if last := i == len(open)-1; conn.closed == (last && err == nil) {
					t.Errorf("connection %d of %d: closed is %v", i+1, len(open), conn.closed)
				}
			}
			if err == nil && l.Baud() != c.baud {
				t.Errorf("at %d baud, want %d", l.Baud(), c.baud)
			}
			if err == nil && !strings.Contains(l.Slowed, c.slowed) || err == nil && c.slowed == "" && l.Slowed != "" {
				t.Errorf("says %q, want %q", l.Slowed, c.slowed)
			}
			if err != nil && !errors.Is(err, ErrRate) && !strings.Contains(err.Error(), "COM7") {
				t.Errorf("error %q does not name the port", err)
			}
		})
	}
}

// A boot loader that was greeted before its time was over hears nothing else for ten
// seconds; when the port is opened again, the board starts again.
func TestConnectResetsABoardThatWasDisturbed(t *testing.T) {
	var open []*fakeConn
	l, err := connect(context.Background(), "COM7", 0, func(_ string, baud int) (Conn, error) {
		conn := &fakeConn{t: t, handle: hello}
		if open = append(open, conn); len(open) == 1 {
			conn.request = lose
		} else if !open[0].closed {
			t.Error("the port is opened again while it is open")
		}
		return conn, nil
	}, 0)
	if err != nil || l.Baud() != protocol.UsualRate || len(open) != 2 {
		t.Errorf("%v, with %d connections", err, len(open))
	}
}

func TestConnectGivesUpWithItsContext(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	conn := &fakeConn{t: t, request: lose, onRead: cancel}
	_, err := connect(ctx, "COM7", 0, func(string, int) (Conn, error) { return conn, nil }, time.Hour)
	if !errors.Is(err, context.Canceled) || !conn.closed {
		t.Errorf("got %v, closed %v", err, conn.closed)
	}
}

func TestOnly(t *testing.T) {
	answer := func(port string) Seen { return Seen{Port: port, Link: New(&fakeConn{t: t}, protocol.UsualRate)} }
	dead := Seen{Port: "COM4", Err: ErrTimeout}
	busy := Seen{Port: "COM5", Err: ErrBusy}
	for name, c := range map[string]struct {
		seen []Seen
		port string
		err  error
		says []string
	}{
		"no port":      {nil, "", ErrNoAdapter, []string{"no serial port", "--adapter virtual"}},
		"none answers": {[]Seen{dead, busy}, "", ErrNoAdapter, []string{"COM4: no answer", "COM5: port is in use", "--adapter PORT"}},
		"one":          {[]Seen{dead, answer("COM6")}, "COM6", nil, nil},
		"two":          {[]Seen{answer("COM6"), busy, answer("COM8")}, "", ErrSeveral, []string{"COM6: an adapter", "COM8: an adapter", "COM5: port is in use", "--adapter PORT"}},
	} {
		l, port, err := Only(c.seen)
		if !errors.Is(err, c.err) || port != c.port || (l != nil) != (err == nil) {
			t.Errorf("%s: %v, %q, %v", name, l, port, err)
		}
		for _, words := range c.says {
			if !strings.Contains(err.Error(), words) {
				t.Errorf("%s: error %q does not say %q", name, err, words)
			}
		}
		for _, s := range c.seen {
			if s.Link != nil && s.Link != l && !s.Link.conn.(*fakeConn).closed {
				t.Errorf("%s: the link of %s stays open", name, s.Port)
			}
		}
	}
}

func TestProbeKeepsTheOrderOfThePorts(t *testing.T) {
	ports := []string{"COM1", "COM2", "COM3"}
	seen := probe(context.Background(), ports, func(_ context.Context, port string) (*Link, error) {
		if port == "COM2" {
			return New(&fakeConn{t: t}, protocol.UsualRate), nil
		}
		return nil, ErrTimeout
	})
	for i, s := range seen {
		if s.Port != ports[i] || (s.Err == nil) != (s.Port == "COM2") {
			t.Errorf("%d: %v", i, s)
		}
	}
}

// Names of serial ports as the systems give them (from memory).
func TestPortsOfUSBDevices(t *testing.T) {
	for _, c := range []struct{ all, want string }{
		{"/dev/ttyS0 /dev/ttyUSB1 /dev/ttyACM0 /dev/rfcomm0", "/dev/ttyACM0 /dev/ttyUSB1"},
		{"/dev/tty.usbmodem101 /dev/cu.usbmodem101 /dev/cu.Bluetooth-Incoming-Port /dev/cu.usbserial-110", "/dev/cu.usbmodem101 /dev/cu.usbserial-110"},
		{"COM3 COM12", "COM12 COM3"},
	} {
		if got := strings.Join(usb(strings.Fields(c.all)), " "); got != c.want {
			t.Errorf("%s: %s, want %s", c.all, got, c.want)
		}
	}
}
