//go:build simavr

package avrsim

import (
	"bytes"
	"context"
	"errors"
	"io"

	"chipassay/host/flash/responder"
)

// ServeBought is Serve of a board as it is bought, with a bootloader and no firmware of ours: `chipassay adapter
// flash` writes it, and what was written then runs. The bootloader is host/flash/responder's. A pseudo-terminal has
// no modem lines, so a greeting to the bootloader resets the board, as a finger on its button does.
func (b *Bench) ServeBought(ctx context.Context, line io.ReadWriteCloser, clock Clock) error {
	context.AfterFunc(ctx, func() { line.Close() })
	l := &bootLine{ReadWriteCloser: line, board: responder.New()}
	l.board.ResetBySignOn = true
	for {
		for started := false; !started; {
			var err error
			if started, err = l.boot(); err != nil {
				return nil
			}
		}
		if err := b.flash(l.board.Flash[:]); err != nil {
			return err
		}
		if err := b.Serve(ctx, l, clock); err != nil {
			return err
		}
	}
}

// flash replaces what is in the MCU's flash, and starts it.
func (b *Bench) flash(image []byte) error {
	b.using.Lock()
	defer b.using.Unlock()
	if !b.MCU.flash(image, 0) {
		return errors.New("the flash holds less")
	}
	b.MCU.Reset()
	return b.start()
}

// A bootLine is a board's line: to its firmware, until the bootloader is greeted there.
type bootLine struct {
	io.ReadWriteCloser
	board *responder.Board
}

// Read takes what is for the firmware. It ends where the board is reset.
func (l *bootLine) Read(p []byte) (n int, err error) {
	if n, err = l.ReadWriteCloser.Read(p); err != nil {
		return n, err
	}
	if bytes.Equal(p[:n], responder.Greeting) {
		return 0, errors.Join(io.EOF, l.answer(p[:n]))
	}
	return n, nil
}

// Close leaves the line open: it is the board's, and not the firmware's.
func (l *bootLine) Close() error { return nil }

// boot takes bytes for the bootloader, and reports whether it started what it was given.
func (l *bootLine) boot() (started bool, err error) {
	buffer := make([]byte, 4096)
	n, err := l.ReadWriteCloser.Read(buffer)
	if err != nil {
		return false, err
	}
	before := l.board.Running
	err = l.answer(buffer[:n])
	return l.board.Running && !before, err
}

// answer has the bootloader answer.
func (l *bootLine) answer(said []byte) error {
	if _, err := l.board.Write(said); err != nil {
		return err
	}
	answer, err := io.ReadAll(untilNothing{l.board})
	if err != nil || len(answer) == 0 {
		return err
	}
	_, err = l.Write(answer)
	return err
}

// untilNothing ends where a port has nothing more to read.
type untilNothing struct{ io.Reader }

func (u untilNothing) Read(p []byte) (int, error) {
	n, err := u.Reader.Read(p)
	if n == 0 && err == nil {
		err = io.EOF
	}
	return n, err
}
