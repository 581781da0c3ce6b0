package main

import (
	"errors"
	"fmt"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

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

	master, err := os.OpenFile("/dev/ptmx", os.O_RDWR|unix.O_NOCTTY, 0)
	require.NoError(t, err)
	fd := int(master.Fd())
	require.NoError(t, unix.IoctlSetPointerInt(fd, unix.TIOCSPTLCK, 0))
	number, err := unix.IoctlGetUint32(fd, unix.TIOCGPTN)
	require.NoError(t, err)
	settings, err := unix.IoctlGetTermios(fd, unix.TCGETS)
	require.NoError(t, err)
	settings.Iflag, settings.Oflag, settings.Lflag = 0, 0, 0 // nothing is echoed or changed
	require.NoError(t, unix.IoctlSetTermios(fd, unix.TCSETS, settings))
	h.path = fmt.Sprintf("/dev/pts/%d", number)
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		for buffer := make([]byte, 4096); ; {
			n, err := master.Read(buffer)
			switch {
			case errors.Is(err, os.ErrClosed), os.IsTimeout(err):
				return
			case err != nil: // EIO: nobody has the other end open
				time.Sleep(2 * time.Millisecond)
				continue
			}
			h.mutex.Lock()
			_, _ = board.Write(buffer[:n])
			for answer := make([]byte, 4096); ; {
				n, err := board.Read(answer)
				if n == 0 || err != nil {
					break
				}
				_, _ = master.Write(answer[:n])
			}
			h.mutex.Unlock()
		}
	}()
	t.Cleanup(func() {
		_ = master.SetReadDeadline(time.Now())
		_ = master.Close()
		select {
		case <-ended:
		case <-time.After(time.Second):
		}
	})
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
