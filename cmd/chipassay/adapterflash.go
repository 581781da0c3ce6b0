package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"chipassay/firmware/images"
	"chipassay/host/flash"
	"chipassay/host/hexfile"
	"chipassay/host/link"
	"chipassay/host/report"
)

// flashFlags are the flags of the flash command.
type flashFlags struct {
	connection
	socketEmpty bool
	asJSON      bool
}

func adapterFlashCommand() *cobra.Command {
	var f flashFlags
	cmd := &cobra.Command{
		Use:   "flash",
		Short: "Write the firmware that this program carries into the adapter's board",
		Long: `Write the firmware ` + images.Version + `, which this program carries, into the adapter's
board, an ATmega2560 with the usual bootloader (STK500 protocol, version 2).

The board is reset, its microcontroller is compared, every page is written and
read back, and the new firmware is asked for its version. It takes some 15 s.

The socket must be empty: a board that is being flashed does not watch it. The
running firmware is asked whether a chip is in it. If none answers, as on a new
board, look yourself and add --socket-empty.

A board that does not reset by itself is flashed too: press its reset button when
you are asked.

If it is interrupted, repeat it: the bootloader is never written.

Serial ports are named /dev/ttyACM0 or /dev/ttyUSB0 (Linux), /dev/cu.usbmodem1101
or /dev/cu.usbserial-110 (macOS), COM5 (Windows). A single one is found by itself.

Exit status: 0 flashed; 3 not flashed, or not verified.`,
		Example: `  chipassay adapter flash --port /dev/ttyACM0 --socket-empty
  chipassay adapter flash --port COM5`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return f.run(cmd) },
	}
	flags := cmd.Flags()
	flags.StringVar(&f.adapter, "port", "", "serial port of the board; also --adapter (default: the only one)")
	oneName(flags, "adapter", "port") // as all other commands call it
	f.portFlags(cmd)
	flags.BoolVar(&f.socketEmpty, "socket-empty", false, "you have looked: no chip is in the socket (if no firmware answers)")
	flags.BoolVar(&f.asJSON, "json", false, "print one JSON object")
	return cmd
}

// flashed is what the flash command prints.
type flashed struct {
	Port     string `json:"port"`
	Before   string `json:"before,omitempty"` // the firmware that answered
	Firmware string `json:"firmware"`         // the one that answers now
	Bytes    int    `json:"bytes"`
}

func (f *flashFlags) run(cmd *cobra.Command) error {
	if f.adapter == virtualAdapter {
		return errors.New("the virtual adapter has nothing to flash: it runs the firmware that this program carries")
	}
	image, err := hexfile.Read(bytes.NewReader(images.ATmega2560HEX), 0xFF)
	if err != nil {
		return err
	}
	if f.adapter == "" {
		if f.adapter, err = link.OnlyPort(); err != nil {
			return couldNotTest(err)
		}
	}
	before, err := f.ask(cmd)
	if err != nil {
		return couldNotTest(err)
	}
	now, err := f.flash(cmd, image)
	if err != nil {
		return couldNotTest(err)
	}
	if f.asJSON {
		return report.WriteJSON(cmd.OutOrStdout(), flashed{f.adapter, before.Firmware, now, len(image)})
	}
	was, named := "", ""
	if cmd.Flags().Changed("port") {
		named = " --port " + f.adapter
	}
	if before.Firmware != "" {
		was = " (it was " + before.Firmware + ")"
	}
	_, err = fmt.Fprintf(cmd.OutOrStdout(), "%s: %d bytes written, read back and compared. Firmware %s runs%s.\nNext: chipassay adapter check%s\n", f.adapter, len(image), now, was, named)
	return err
}

// ask refuses while a chip is in the socket, or may be.
func (f *flashFlags) ask(cmd *cobra.Command) (flash.Board, error) {
	stop := working(cmd.ErrOrStderr(), "asking the board about its socket")
	before, err := flash.Ask(cmd.Context(), f.adapter, f.baud)
	stop()
	switch {
	case err != nil:
		return before, err
	case before.Chip:
		return before, fmt.Errorf("%s: a chip is in the socket; take it out, then flash", f.adapter)
	case !before.Looked && !f.socketEmpty:
		return before, fmt.Errorf("%s: whether a chip is in the socket is not known: %s. Take the chip out if there is one, and repeat with --socket-empty", f.adapter, before.Why)
	}
	return before, nil
}

// flash writes the image and gives the version of the firmware that then answers.
func (f *flashFlags) flash(cmd *cobra.Command, image []byte) (string, error) {
	port, err := link.OpenPort(f.adapter, flash.Baud)
	if err != nil {
		return "", err
	}
	err = flash.Write(cmd.Context(), port, image, flash.Watch{
		Progress: progressOf(cmd, 10*time.Second),
		PressReset: func() {
			fmt.Fprintf(cmd.ErrOrStderr(), "%s: no bootloader answers. Press the board's reset button now, and again if nothing happens; it waits 20 s.\n", f.adapter)
		},
	})
	if err = errors.Join(err, port.Close()); err != nil {
		return "", fmt.Errorf("%s: %w%s", f.adapter, err, flashAdvice(err))
	}
	stop := working(cmd.ErrOrStderr(), "waiting for the firmware to start")
	defer stop()
	now, err := flash.Running(cmd.Context(), f.adapter, f.baud)
	switch {
	case err != nil:
		return "", fmt.Errorf("the firmware is written and verified, but does not answer: %w", err)
	case now != images.Version:
		return "", fmt.Errorf("%s: firmware %s was written and verified, but %s answers", f.adapter, images.Version, now)
	}
	return now, nil
}

// flashAdvice says what can be done about a board that was not flashed.
func flashAdvice(err error) string {
	const again = "; the board may hold half a firmware now, and its bootloader is unharmed: leave the socket empty, "
	switch {
	case errors.Is(err, flash.ErrNoBootloader):
		return "; look whether it is an ATmega2560 board and the right port, and repeat; a board without a bootloader takes an in-system programmer (firmware/README.md)"
	case errors.Is(err, flash.ErrVersion1), errors.Is(err, flash.ErrSignature):
		return "; nothing was written: the adapter needs a board with an ATmega2560 and its usual bootloader"
	case errors.Is(err, flash.ErrVerify):
		return again + "and repeat the command with --socket-empty; if it fails at the same address again, the flash is worn: take another board"
	case errors.Is(err, flash.ErrInterrupted):
		return again + "try another cable or USB port, and repeat the command with --socket-empty"
	case errors.Is(err, link.ErrUnplugged):
		return again + "plug the board in again, and repeat the command with --socket-empty"
	case errors.Is(err, context.Canceled):
		return again + "and repeat the command with --socket-empty"
	}
	return ""
}
