//go:build simavr

package avrsim

import (
	"bytes"
	"context"
	"errors"
	"slices"
	"testing"

	"chipassay/firmware/images"
	"chipassay/host/adapter"
	"chipassay/host/flash"
	"chipassay/host/hexfile"
	"chipassay/host/link"
	"chipassay/host/selfcheck"
	"chipassay/protocol"
)

// What the two commands do that bring a bought board to its check, on one board: flash writes the image through the
// bootloader, and check talks to what was written, in the simulated MCU on a carrier with a fault. The image calls itself by
// another name, so that none other runs, and one that was written before is flashed over.
func TestBoughtBoard(t *testing.T) {
	image, err := hexfile.Read(bytes.NewReader(images.ATmega2560HEX), 0xFF)
	if err != nil {
		t.Fatal(err)
	}
	const ours, theirs = "ATmega2560, revision B", "ATMEGA2560, revision B"
	if bytes.Count(image, []byte(ours)) != 1 {
		t.Fatal("the image does not say once which board it is for")
	}
	image = bytes.Replace(image, []byte(ours), []byte(theirs), 1)
	bench, err := NewBench(damaged(t, "R224 open").Socket(nil, 1))
	if err != nil {
		t.Fatal(err)
	}
	defer bench.Close()
	pty, err := OpenPTY()
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	served := make(chan error)
	go func() { served <- bench.ServeBought(ctx, pty, Halted) }()
	defer func() {
		cancel()
		if err := <-served; err != nil {
			t.Error(err)
		}
	}()
	// Another firmware first, of which nothing is heard: rjmp .-2, for ever (AVR instruction set manual, RJMP).
	for _, written := range [][]byte{{0xFF, 0xCF}, image} {
		board, err := link.OpenPort(pty.Path, flash.Baud)
		if err != nil {
			t.Fatal(err)
		}
		if err := errors.Join(flash.Write(t.Context(), board, written, flash.Watch{}), board.Close()); err != nil {
			t.Fatal(err)
		}
	}
	conn, err := link.OpenPort(pty.Path, protocol.UsualRate)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	a, err := adapter.Open(t.Context(), link.New(&patient{Conn: conn, bench: bench}, protocol.UsualRate))
	if err != nil {
		t.Fatal(err)
	}
	if c := a.Capabilities; c.Firmware != images.Version || c.Board != theirs {
		t.Errorf("firmware %s of %s runs, not %s of %s", c.Firmware, c.Board, images.Version, theirs)
	}
	r, err := selfcheck.Check(t.Context(), a, selfcheck.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if faults := r.Faults(); len(faults) != 1 || !slices.Contains(faults[0].Parts, "R224") {
		t.Errorf("found %v, not R224 alone", faults)
	}
}
