package main

import (
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chipassay/host/adapter"
	"chipassay/host/virtual"
	"chipassay/vectors/library"
)

// A sideHeader is a virtual adapter that the program takes for a real one, behind a pseudo-terminal: what
// is clipped to its side header the test clips.
type sideHeader struct {
	path   string
	mutex  sync.Mutex
	socket *virtual.Socket
	pins   int
}

func sideHeaderOf(t *testing.T, name string) *sideHeader {
	t.Helper()
	typ, err := library.Open(name)
	require.NoError(t, err)
	chip, err := virtual.NewChip(typ)
	require.NoError(t, err)
	h := &sideHeader{socket: virtual.NewSocket(chip, 1), pins: len(typ.Variant.Pins)}
	board, err := virtual.Open(t.Context(), h.socket)
	require.NoError(t, err)
	require.NoError(t, board.SetReadTimeout(time.Millisecond))
	h.path, _ = behindPTY(t, &h.mutex, board)
	return h
}

// clip clips a capacitor between two pins, and takes off what was there. Nothing may be powered.
func (h *sideHeader) clip(t *testing.T, farads float64, negative, positive int) {
	t.Helper()
	h.mutex.Lock()
	defer h.mutex.Unlock()
	require.False(t, h.socket.Live(), "asked to clip while a supply switch is closed")
	h.socket.Unclip()
	h.socket.Clip(virtual.Capacitor{Farads: farads, P: adapter.PositionOf(positive, h.pins), Q: adapter.PositionOf(negative, h.pins)})
}

// A person at a terminal is told where to clip the capacitor, presses Enter, moves it to the other section when
// asked, presses Enter again, and has both timed. The caution is said once.
func TestCapacitorIsClippedByAPerson(t *testing.T) {
	h := sideHeaderOf(t, "74123")
	x := atTerminal(t, t.TempDir(), "test", "74123", "--capacitor", "100n", "--at-least", "0", "--adapter", h.path)
	x.sees("caution: discharge the capacitor before you clip it")
	x.sees("For 1Q, section 1: clip the capacitor of 100 nF to the side header between position 26 (pin 14, 1CX) and position 27 (pin 15, 1RCX)")
	x.sees("Then press Enter: ")
	h.clip(t, 100e-9, 14, 15)
	x.types("\r", "For 2Q, section 2: move the capacitor of 100 nF to the side header between position 6 (pin 6, 2CX) and position 7 (pin 7, 2RCX)")
	x.sees("Then press Enter: ")
	h.clip(t, 100e-9, 6, 7)
	x.types("\r", "Take the capacitor off.")
	x.sees("PASS, function only")
	require.NoError(t, x.command.Wait())
	require.Regexp(t, `1Q pulse 29\d µs .*\s+2Q\s+pulse 29\d µs`, x.shown.String())
	require.Equal(t, 1, strings.Count(x.shown.String(), "caution: discharge"))
}

// One who presses Enter without clipping anything, and one who goes away, have nothing passed.
func TestCapacitorIsNotClipped(t *testing.T) {
	h := sideHeaderOf(t, "74123")
	x := atTerminal(t, t.TempDir(), "test", "74123", "--capacitor", "100n", "--at-least", "0", "--adapter", h.path)
	x.sees("Then press Enter: ")
	x.types("\r", "there is no capacitor of 100 nF between pin 14 (1CX)")
	require.Error(t, x.command.Wait())

	x = atTerminal(t, t.TempDir(), "test", "74123", "--capacitor", "100n", "--at-least", "0", "--adapter", h.path)
	x.sees("Then press Enter: ")
	x.types("\x04", "NOT TESTED") // Ctrl-D
	x.sees("nobody pressed Enter, so that nothing is known to be clipped on")
	require.Error(t, x.command.Wait())
}
