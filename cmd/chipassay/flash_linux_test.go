package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chipassay/firmware/images"
	"chipassay/host/flash"
	"chipassay/host/flash/responder"
	"chipassay/host/hexfile"
	"chipassay/host/link"
	"chipassay/host/virtual"
)

// A boughtBoard is a board with a bootloader behind a pseudo-terminal.
type boughtBoard struct {
	path string
	pull func() // the plug

	mutex sync.Mutex
	*responder.Board
}

// boardAt puts a board behind a pseudo-terminal until the test ends. A pseudo-terminal has
// no DTR: the board is reset by a greeting.
func boardAt(t *testing.T, board *responder.Board) *boughtBoard {
	t.Helper()
	b := &boughtBoard{Board: board}
	b.ResetBySignOn = true
	b.path, b.pull = behindPTY(t, &b.mutex, b)
	return b
}

// firmwareOn is the firmware with a socket, and a chip in it or none.
func firmwareOn(t *testing.T, number string) *virtual.Adapter {
	t.Helper()
	var chip *virtual.Chip
	if number != "" {
		typ, err := new(definitions).typeOf(number, "")
		require.NoError(t, err)
		chip, err = virtual.NewChip(typ)
		require.NoError(t, err)
	}
	a, err := virtual.Open(context.Background(), virtual.NewBoard().Socket(chip, 1))
	require.NoError(t, err)
	require.NoError(t, a.SetReadTimeout(time.Millisecond))
	t.Cleanup(func() { a.Close() })
	return a
}

// flashing runs `chipassay adapter flash` at the board and gives its exit status and what it printed.
func flashing(t *testing.T, b *boughtBoard, arguments ...string) (int, string) {
	t.Helper()
	return typed(t, b, append([]string{"adapter", "flash", "--port", b.path, "--baud", "1000000"}, arguments...)...)
}

// typed runs chipassay likewise.
func typed(t *testing.T, b *boughtBoard, arguments ...string) (int, string) {
	t.Helper()
	program := filepath.Join(t.TempDir(), "chipassay")
	self, err := os.Executable()
	require.NoError(t, err)
	require.NoError(t, os.Symlink(self, program))
	command := exec.Command(program, arguments...)
	command.Env = append(os.Environ(), "HOME="+t.TempDir())
	out, err := command.CombinedOutput()
	var exit *exec.ExitError
	if !errors.As(err, &exit) {
		require.NoError(t, err)
	}
	b.mutex.Lock()
	defer b.mutex.Unlock()
	return command.ProcessState.ExitCode(), string(out)
}

func flashImage(t *testing.T) []byte {
	t.Helper()
	image, err := hexfile.Read(strings.NewReader(string(images.ATmega2560HEX)), 0xFF)
	require.NoError(t, err)
	return image
}

// A board with firmware is asked; then it is flashed, and the version is reported.
func TestFlashUpdatesABoard(t *testing.T) {
	t.Parallel()
	b := boardAt(t, responder.New())
	b.Firmware = firmwareOn(t, "")
	status, out := flashing(t, b)
	require.Equal(t, 0, status, out)
	image := flashImage(t)
	require.Contains(t, out, fmt.Sprintf("%d bytes written, read back and compared. Firmware %s runs (it was %s).\nNext: chipassay adapter check --port %s\n", len(image), images.Version, images.Version, b.path))
	require.Equal(t, image, b.Flash[:len(image)])
}

// A chip in the socket is not flashed over, whatever the person says.
func TestFlashRefusesWhileAChipIsSeated(t *testing.T) {
	t.Parallel()
	for _, arguments := range [][]string{nil, {"--socket-empty"}} {
		b := boardAt(t, responder.New())
		b.Firmware = firmwareOn(t, "7400")
		status, out := flashing(t, b, arguments...)
		require.Equal(t, 3, status, out)
		require.Contains(t, out, "a chip is in the socket; take it out, then flash")
		require.Zero(t, b.Resets)
		require.Equal(t, responder.New().Flash, b.Flash)
	}
}

// A board that was bought answers nothing: the person says that the socket is empty. Two commands
// bring it to its check, as the README has them.
func TestFlashOfANewBoard(t *testing.T) {
	t.Parallel()
	b := boardAt(t, responder.New())
	status, out := flashing(t, b)
	require.Equal(t, 3, status, out)
	require.Contains(t, out, "no firmware of chipassay answers there")
	require.Contains(t, out, "repeat with --socket-empty")
	require.Zero(t, b.Resets)

	image := flashImage(t)
	firmware := firmwareOn(t, "")
	b.mutex.Lock()
	heard := b.FromHost
	b.FromHost = func(p []byte) []byte { // what was written runs
		if b.Running && string(b.Flash[:len(image)]) == string(image) {
			b.Firmware = firmware
		}
		return p
	}
	b.mutex.Unlock()
	status, out = flashing(t, b, "--socket-empty", "--json")
	require.Equal(t, 0, status, out)
	require.Contains(t, out, `"firmware": "`+images.Version+`"`)
	require.NotContains(t, out, `"before"`)
	require.Nil(t, heard)

	status, out = typed(t, b, "adapter", "check", "--port", b.path, "--baud", "1000000")
	require.Equal(t, 0, status, out)
	require.Contains(t, out, "No fault found.")
}

// A board that the port cannot reset: somebody presses the button when asked.
func TestFlashAfterTheResetButton(t *testing.T) {
	t.Parallel()
	board, greeted := responder.New(), 0
	b := boardAt(t, board)
	b.mutex.Lock()
	b.ResetBySignOn = false
	b.FromHost = func(p []byte) []byte {
		if string(p) == "\x1b\x01\x00\x01\x0e\x01\x14" {
			if greeted++; greeted == 22 { // ten each of the two tries before
				b.Press()
			}
		}
		return p
	}
	b.mutex.Unlock()
	_, out := flashing(t, b, "--socket-empty")
	require.Contains(t, out, "Press the board's reset button now")
	require.Contains(t, out, "is written and verified")
	image := flashImage(t)
	require.Equal(t, image, b.Flash[:len(image)])
}

// The cable is pulled while the flash is written: it is said what to do, and the next try heals it.
func TestFlashWithThePlugPulled(t *testing.T) {
	t.Parallel()
	board := responder.New()
	b := boardAt(t, board)
	b.mutex.Lock()
	passed := 0
	b.FromHost = func(p []byte) []byte {
		if passed++; passed == 200 {
			b.pull()
		}
		return p
	}
	b.mutex.Unlock()
	status, out := flashing(t, b, "--socket-empty")
	require.Equal(t, 3, status, out)
	require.Contains(t, out, "adapter was unplugged")
	require.Contains(t, out, "leave the socket empty, plug the board in again, and repeat the command with --socket-empty")
	require.NotEqual(t, responder.New().Flash, board.Flash)

	board.FromHost, board.Running = nil, true
	_, out = flashing(t, boardAt(t, board), "--socket-empty")
	require.Contains(t, out, "is written and verified")
	image := flashImage(t)
	require.Equal(t, image, board.Flash[:len(image)])
}

// What is written and does not answer is no success, and neither is what reads back otherwise.
func TestFlashThatDoesNotWork(t *testing.T) {
	t.Parallel()
	for words, spoil := range map[string]func(*responder.Board){
		"is written and verified, but does not answer":                               func(*responder.Board) {},
		"the flash reads back other than written":                                    func(b *responder.Board) { b.Corrupt = func(_ int, c byte) byte { return c &^ 0x80 } },
		"signature is 1E 97 05 (ATmega1284P), and not 1E 98 01; nothing was written": func(b *responder.Board) { b.Signature = [3]byte{0x1E, 0x97, 0x05} },
	} {
		t.Run(words, func(t *testing.T) {
			t.Parallel()
			board := responder.New()
			spoil(board)
			status, out := flashing(t, boardAt(t, board), "--socket-empty")
			require.Equal(t, 3, status, out)
			require.Contains(t, out, words)
		})
	}
}

// Each error of flashing is one line that says what to do.
func TestFlashAdvice(t *testing.T) {
	for err, words := range map[error]string{
		flash.ErrNoBootloader: "look whether it is an ATmega2560 board and the right port",
		flash.ErrVersion1:     "nothing was written: the adapter needs a board with an ATmega2560",
		flash.ErrSignature:    "nothing was written: the adapter needs a board with an ATmega2560",
		flash.ErrVerify:       "take another board",
		flash.ErrInterrupted:  "try another cable or USB port",
		link.ErrUnplugged:     "plug the board in again",
		context.Canceled:      "leave the socket empty, and repeat the command with --socket-empty",
	} {
		advice := flashAdvice(fmt.Errorf("write page 0x100: %w", err))
		require.Contains(t, advice, words)
		require.NotContains(t, advice, "\n")
	}
	require.Empty(t, flashAdvice(errors.New("another")))
}
