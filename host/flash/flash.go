// Package flash writes a firmware image into the flash of the adapter's ATmega2560
// through the bootloader that the common boards come with. It speaks the STK500
// protocol, version 2 (Atmel application note AVR068, 2591C, 06/06), as far as such a
// bootloader does.
//
// Two peculiarities of these bootloaders decide how it is done. Some erase one page
// with each page that is written, in order from address 0, whatever address was loaded
// (from the sources of several). So an image is written whole, page after page, and
// nothing is written twice: after a lost or damaged answer the board is reset, and all
// begins anew. And some take no sequence number but the one that follows, and 1; so
// each beginning has number 1.
//
// Old ones open a monitor, and are deaf until the next reset, when three exclamation marks
// pass on the line. A page cannot be broken up, because of the first peculiarity, so an image
// in which they would pass is refused before anything is written.
package flash

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"time"
)

// Baud is the rate of these bootloaders' line: 115,200 (AVR068, 2).
const Baud = 115_200

// A Port is the line to a board, with the two modem lines that reset it. Read gives 0
// and no error when its timeout passes.
type Port interface {
	io.ReadWriteCloser
	SetReadTimeout(time.Duration) error
	SetDTR(bool) error
	SetRTS(bool) error
}

// The errors of Write, for errors.Is. Those of the port itself come as they are.
var (
	ErrImage        = errors.New("not an image for this board")
	ErrNoBootloader = errors.New("no bootloader answers")
	ErrVersion1     = errors.New("the bootloader speaks version 1 of its protocol, and not version 2")
	ErrSignature    = errors.New("the board's microcontroller is not an ATmega2560")
	ErrVerify       = errors.New("the flash reads back other than written")
	ErrInterrupted  = errors.New("the line to the bootloader failed")
)

const (
	// PageSize of the ATmega2560's flash, bytes (data sheet 2549, Page Size).
	PageSize = 256
	// MostBytes that an image may have: 256 KiB less the largest boot section of
	// 4096 words at the end (data sheet 2549, Boot Size Configuration).
	MostBytes = 256<<10 - 8<<10

	pulse     = 250 * time.Millisecond // DTR and RTS off; discharges the 100 nF between DTR and reset
	settle    = 50 * time.Millisecond  // after the reset, until the bootloader listens
	greetings = 10                     // before a board is reset again: the bootloader waits 1 s or more
	byHand    = 100                    // greetings while somebody presses the reset button: 20 s
	greeting  = 200 * time.Millisecond // what an answer to one may take
	patience  = time.Second            // for all other answers; erasing and writing a page takes 9 ms
	attempts  = 3
)

// signature of the ATmega2560 (data sheet 2549, Signature Bytes).
var signature = [3]byte{0x1E, 0x98, 0x01}

// A Watch hears how Write goes on; each may be nil.
type Watch struct {
	// Progress is called with what part is done, 0 to 1; it begins anew after a failure of the line.
	Progress func(float64)
	// PressReset is called when no bootloader answers: somebody may press the board's
	// reset button now, as on a board that the port does not reset.
	PressReset func()
}

// Write writes an image from address 0, reads all back, and starts it. Unless the error is
// ErrNoBootloader, ErrVersion1, ErrSignature or ErrImage, the board may hold half an image
// afterwards; its bootloader is still there.
func Write(ctx context.Context, port Port, image []byte, watch Watch) error {
	return write(ctx, port, image, watch, func(d time.Duration) { sleep(ctx, d) })
}

func sleep(ctx context.Context, d time.Duration) {
	select {
	case <-ctx.Done():
	case <-time.After(d):
	}
}

func write(ctx context.Context, port Port, image []byte, watch Watch, sleep func(time.Duration)) (err error) {
	if len(image) == 0 || len(image) > MostBytes {
		return fmt.Errorf("%w: %d bytes; it takes 1 to %d, and the bootloader is above", ErrImage, len(image), MostBytes)
	}
	image = pad(image)
	if at := monitored(image); at >= 0 {
		return fmt.Errorf("%w: with page %#x three exclamation marks in a row would pass, which stop old bootloaders", ErrImage, at)
	}
	if watch.Progress == nil {
		watch.Progress = func(float64) {}
	}
	begun := false // a page may have been written
	for attempt := range attempts {
		reset(port, sleep)
		greet := greetings
		if attempt == attempts-1 && errors.Is(err, ErrNoBootloader) && !begun {
			if old := (&session{ctx: ctx, port: port}).version1(); old != nil {
				return old
			}
			reset(port, sleep)
			if watch.PressReset != nil {
				watch.PressReset()
				greet = byHand
			}
		}
		s := &session{ctx: ctx, port: port}
		var refused *refusal
		switch err = s.write(image, greet, watch.Progress, &begun); {
		case errors.Is(err, errSilent), errors.Is(err, ErrNoBootloader), errors.Is(err, ErrVerify), errors.As(err, &refused):
			continue
		}
		return err
	}
	if begun && !errors.Is(err, ErrVerify) {
		return fmt.Errorf("%w, %d times: %w", ErrInterrupted, attempts, err)
	}
	return err
}

// monitored gives the address of the first page whose message has three exclamation marks in
// a row, as data or with its checksum, or -1.
func monitored(image []byte) int {
	for at := 0; at < len(image); at += PageSize {
		// The greeting, three of the signature and the entry come first; a page's address before it.
		seq := byte(7 + 2*at/PageSize)
		if bytes.Contains(encode(seq, programPage(image[at:at+PageSize])), []byte("!!!")) {
			return at
		}
	}
	return -1
}

// pad fills the last page with what erased flash holds. A page is always written whole.
func pad(image []byte) []byte {
	whole := append([]byte(nil), image...)
	for len(whole)%PageSize != 0 {
		whole = append(whole, 0xFF)
	}
	return whole
}

// reset pulses DTR and RTS: on the common boards one of them is joined to the reset by a
// capacitor. A port without such lines is let be; the board may have been reset by hand.
func reset(port Port, sleep func(time.Duration)) {
	lines := func(on bool) bool { return port.SetDTR(on) == nil && port.SetRTS(on) == nil }
	if !lines(false) {
		return
	}
	sleep(pulse)
	lines(true)
	sleep(settle)
}

func (s *session) write(image []byte, greetings int, progress func(float64), begun *bool) error {
	if err := s.enter(greetings); err != nil {
		return err
	}
	total := float64(2 * len(image)) // to write and to read back
	progress(0)
	*begun = true
	for at := 0; at < len(image); at += PageSize {
		if err := s.writePage(at, image[at:at+PageSize]); err != nil {
			return fmt.Errorf("write page %#x: %w", at, err)
		}
		progress(float64(at+PageSize) / total)
	}
	for at := 0; at < len(image); at += PageSize {
		read, err := s.readPage(at)
		if err != nil {
			return fmt.Errorf("read page %#x: %w", at, err)
		}
		for i, b := range read {
			if want := image[at+i]; b != want {
				return fmt.Errorf("%w: %#x is %#02x, and not %#02x", ErrVerify, at+i, b, want)
			}
		}
		progress(float64(len(image)+at+PageSize) / total)
	}
	// preDelay and postDelay, ms. The image starts even if this answer is lost: after
	// a while without commands.
	if _, err := s.call(patience, cmdLeaveProgmode, 1, 1); err != nil && !errors.Is(err, errSilent) {
		return err
	}
	return nil
}

// enter greets the bootloader, looks which microcontroller it is, and begins programming.
func (s *session) enter(greetings int) error {
	var err error
	for range greetings {
		s.seq, s.line = 1, nil
		if _, err = s.call(greeting, cmdSignOn); !errors.Is(err, errSilent) {
			break
		}
	}
	if errors.Is(err, errSilent) {
		return ErrNoBootloader
	}
	if err != nil {
		return err
	}
	var found [3]byte
	for i := range found {
		// The place of the answer, and the instruction Read Signature Byte.
		answer, err := s.call(patience, cmdReadSignature, 4, 0x30, 0, byte(i), 0)
		if err != nil {
			return err
		}
		if len(answer) < 1 {
			return fmt.Errorf("%w that is whole", errSilent)
		}
		found[i] = answer[0]
	}
	if found != signature {
		return fmt.Errorf("%w: its signature is % X%s, and not % X", ErrSignature, found, named(found), signature)
	}
	// Table 5-15: time-out, delays and loops of in-system programming, which a
	// bootloader does not need, and the instruction Programming Enable.
	_, err = s.call(patience, cmdEnterProgmode, 200, 100, 25, 32, 0, 0x53, 3, 0xAC, 0x53, 0, 0)
	return err
}

// load sets the address of what follows: in words, with bit 31 for a memory of more
// than 64 KB (5.1.5).
func (s *session) load(at int) error {
	word := uint32(at/2) | 1<<31
	_, err := s.call(patience, cmdLoadAddress, byte(word>>24), byte(word>>16), byte(word>>8), byte(word))
	return err
}

func (s *session) writePage(at int, page []byte) error {
	if err := s.load(at); err != nil {
		return err
	}
	_, err := s.call(patience, programPage(page)...)
	return err
}

// programPage is the command for a page. Tables 5-21 and 5-23: page mode, wait for RDY/BSY, write
// the page; then a delay in ms, and the instructions Load Page, Write Page and Read Program
// Memory; no poll values.
func programPage(page []byte) []byte {
	command := []byte{cmdProgramFlash, byte(len(page) >> 8), byte(len(page)), 1<<7 | 1<<6 | 1<<0, 10, 0x40, 0x4C, 0x20, 0, 0}
	return append(command, page...)
}

func (s *session) readPage(at int) ([]byte, error) {
	if err := s.load(at); err != nil {
		return nil, err
	}
	answer, err := s.call(patience, cmdReadFlash, PageSize>>8, PageSize&0xFF, 0x20)
	if err != nil {
		return nil, err
	}
	if len(answer) != PageSize+1 { // and a second state, always OK
		return nil, fmt.Errorf("%w with a page, but with %d bytes", errSilent, len(answer))
	}
	return answer[:PageSize], nil
}
