package flash

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"
	"testing"
	"time"

	"chipassay/host/flash/responder"
)

// lines is a port that notes what its modem lines do.
type lines struct {
	*responder.Board
	noted []string
	rts   error
}

func (l *lines) SetDTR(on bool) error {
	l.noted = append(l.noted, fmt.Sprintf("DTR %v", on))
	return l.Board.SetDTR(on)
}

func (l *lines) SetRTS(on bool) error {
	l.noted = append(l.noted, fmt.Sprintf("RTS %v", on))
	return l.rts
}

// The reset is a pulse of both lines, long enough to discharge the 100 nF that common boards
// have between DTR and reset (common practice), and the bootloader has time to start. A port
// without the lines is let be at once.
func TestResetIsAPulse(t *testing.T) {
	pulsed := []string{"DTR false", "RTS false", "250ms", "DTR true", "RTS true", "50ms"}
	l := &lines{Board: responder.New()}
	sleep := func(d time.Duration) { l.noted = append(l.noted, d.String()) }
	if err := write(context.Background(), l, make([]byte, 256), Watch{}, sleep); err != nil || !slices.Equal(l.noted, pulsed) {
		t.Errorf("%v, %v", l.noted, err)
	}
	l.noted, l.rts = nil, errors.New("no such line")
	reset(l, sleep)
	if !slices.Equal(l.noted, pulsed[:2]) {
		t.Errorf("without RTS: %v", l.noted)
	}
	l.noted, l.ResetBySignOn = nil, true
	reset(l, sleep)
	if !slices.Equal(l.noted, pulsed[:1]) {
		t.Errorf("without DTR: %v", l.noted)
	}
}

// How often a board that says nothing is greeted: ten times after each of three resets, and a
// hundred times while somebody may press the button.
func TestHowOftenItGreets(t *testing.T) {
	for name, c := range map[string]struct {
		watch Watch
		want  int
	}{"nobody asked": {Watch{}, 30}, "asked": {Watch{PressReset: func() {}}, 120}} {
		b, greeted := responder.New(), 0
		b.Dead = true
		b.FromHost = func(p []byte) []byte {
			if bytes.Equal(p, encode(1, []byte{cmdSignOn})) {
				greeted++
			}
			return p
		}
		if err := write(context.Background(), b, make([]byte, 256), c.watch, func(time.Duration) {}); !errors.Is(err, ErrNoBootloader) || greeted != c.want {
			t.Errorf("%s: %d greetings, want %d; %v", name, greeted, c.want, err)
		}
	}
}

// The longest body of a message is 275 bytes (AVR068, table 3-1, note 1), the shortest 1.
func TestLengthsOfMessages(t *testing.T) {
	for size, sound := range map[int]bool{0: false, 1: true, 275: true, 276: false, 65535: false} {
		body, _ := decode(encode(1, make([]byte, size)), 1)
		if (body != nil) != sound || sound && len(body) != size {
			t.Errorf("a body of %d bytes is %d", size, len(body))
		}
	}
	line := encode(7, []byte{1, 0})
	for cut := range line {
		body, rest := decode(line[:cut], 7)
		if body != nil || !bytes.Equal(rest, line[:cut]) {
			t.Errorf("%d bytes of a message are % x, and % x waits", cut, body, rest)
		}
	}
}

// A sound answer that is too short for its command is no answer: all begins anew.
func TestShortAnswers(t *testing.T) {
	image := bytes.Repeat([]byte{0x5A}, 600)
	for name, c := range map[string]struct {
		number int
		body   []byte
	}{
		"no state":             {1, []byte{cmdSignOn}},
		"no signature":         {2, []byte{cmdReadSignature, 0}},
		"half a page":          {13, append([]byte{cmdReadFlash, 0}, make([]byte, 129)...)},
		"a page too long":      {13, append([]byte{cmdReadFlash, 0}, make([]byte, 258)...)},
		"a page without state": {13, append([]byte{cmdReadFlash, 0}, make([]byte, 256)...)},
	} {
		b := responder.New()
		b.ToHost = strike(c.number, func(p []byte) []byte { return encode(p[1], c.body) })
		want := 2
		if c.number == 1 {
			want = 1 // the next greeting does
		}
		if err := quickly(b, image); err != nil || b.Resets != want {
			t.Errorf("%s: %v after %d resets", name, err, b.Resets)
		}
		holds(t, b, image)
	}
}

// A version 1 bootloader whose signature is cut short or ends wrong is version 1 all the same.
func TestHalfASignatureOfVersion1(t *testing.T) {
	for _, said := range []string{"\x14", "\x14\x1E\x95\x0F", "\x14\x1E\x95\x0F\x11", "\x1E\x95\x0F\x10"} {
		b := &answers{Board: responder.New(), to: map[string]string{"0 ": "\x14\x10", "u ": said}}
		if err := (&session{ctx: context.Background(), port: b}).version1(); err != ErrVersion1 {
			t.Errorf("% x: %v", said, err)
		}
	}
	for _, said := range []string{"", "\x14", "\x10\x14", "0 "} {
		b := &answers{Board: responder.New(), to: map[string]string{"0 ": said}}
		if err := (&session{ctx: context.Background(), port: b}).version1(); err != nil {
			t.Errorf("% x: %v", said, err)
		}
	}
}

// answers gives fixed answers.
type answers struct {
	*responder.Board
	to  map[string]string
	out string
}

func (a *answers) Write(p []byte) (int, error) {
	a.out += a.to[string(p)]
	return len(p), nil
}

func (a *answers) Read(p []byte) (int, error) {
	n := copy(p, a.out)
	a.out = a.out[n:]
	return n, nil
}
