//go:build simavr

// Bench runs the firmware's image for the ATmega2560 in a simulated MCU, with a
// chip in a virtual socket, as an adapter at a serial port:
//
//	go run -tags simavr ./firmware/avrsim/bench --chip 7410 --defect "12 stuck low"
//
// It prints PORT and the port's name on a line of its own, and serves until it
// is interrupted or terminated, or until the go run that started it ends. Lines on
// its standard input change what is in the socket: lines of a tray (a part, and what
// is wrong with it), "empty", "clip 100n 26 27" for a capacitor (or "clip 10k 5 6" for a
// resistor) between two positions of the side header, "clip 1u 2" for one to ground,
// "unclip" for all of them, and "press" and "release" for the button. The carrier
// is complete and good, on 5 V, unless --groups, --board-defect or --supply say
// otherwise. With --bought the board has a bootloader alone: `chipassay adapter flash`
// writes the firmware.
package main

import (
	"bufio"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strconv"
	"strings"
	"syscall"
	"time"

	"chipassay/firmware/avrsim"
	"chipassay/firmware/carrier"
	"chipassay/host/virtual"
	"chipassay/vectors/library"
)

func main() {
	var defects []virtual.Defect
	chip := flag.String("chip", "", "the `PART` in the socket, such as 74LS00 (default: none)")
	seed := flag.Uint64("seed", 1, "random seed, a `NUMBER`")
	flag.Func("defect", "the `TEXT` of what is wrong with the chip, such as \"12 stuck low\"; may be repeated", func(text string) error {
		d, err := virtual.ParseDefect(text)
		defects = append(defects, d)
		return err
	})
	board := virtual.NewBoard()
	flag.Func("groups", "the `GROUPS` of the carrier that are fitted, such as starter,load (default: all)", func(text string) error {
		groups, err := carrier.ParseGroups(strings.Split(text, ","))
		if err == nil {
			board.Groups(groups...)
		}
		return err
	})
	flag.Func("supply", "the `VOLTS` at the USB port, 4.4 to 5.5 (default: 5)", func(text string) error {
		volts, err := strconv.ParseFloat(text, 64)
		if err != nil || volts < 4.4 || volts > 5.5 {
			return errors.New("a USB port has 4.4 to 5.5 V")
		}
		board.USB(volts)
		return nil
	})
	flag.Func("board-defect", "the `TEXT` of something wrong with the carrier; may be repeated", func(text string) error { return board.Damage(text) })
	bought := flag.Bool("bought", false, "a board with a bootloader alone, which is yet to be flashed")
	flag.Usage = func() {
		fmt.Fprintln(os.Stderr, "usage: bench [--chip PART] [--defect TEXT]... [--seed NUMBER] [--groups GROUPS] [--supply VOLTS] [--board-defect TEXT]... [--bought]")
		flag.PrintDefaults()
	}
	flag.Parse()
	if flag.NArg() > 0 {
		fmt.Fprintf(os.Stderr, "%q is not an option\n", flag.Arg(0))
		flag.Usage()
		os.Exit(2)
	}
	socket, err := fill(board, *chip, defects, *seed)
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(2)
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
	defer stop()
	if err := serve(whileGoRuns(ctx), socket, *bought); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// whileGoRuns gives a context that also ends with the go run that started this
// program: go run does not hand on the signal that ends it.
func whileGoRuns(ctx context.Context) context.Context {
	parent := os.Getppid()
	name, err := os.ReadFile(fmt.Sprintf("/proc/%d/comm", parent))
	if err != nil || string(name) != "go\n" {
		return ctx
	}
	ctx, cancel := context.WithCancel(ctx)
	go func() {
		for os.Getppid() == parent {
			time.Sleep(200 * time.Millisecond)
		}
		cancel()
	}()
	return ctx
}

// fill puts a chip into the socket of a board; no part leaves it empty.
func fill(board *virtual.Board, part string, defects []virtual.Defect, seed uint64) (*virtual.Socket, error) {
	if part == "" {
		if len(defects) > 0 {
			return nil, fmt.Errorf("a defect needs a chip: name one with --chip PART")
		}
		return board.Socket(nil, seed), nil
	}
	typ, err := library.Open(part)
	if err != nil {
		return nil, err
	}
	chip, err := virtual.NewChip(typ, defects...)
	if err != nil {
		return nil, err
	}
	return board.Socket(chip, seed), nil
}

// execute changes what is in the socket as the lines say.
func execute(r io.Reader, bench *avrsim.Bench) {
	for lines := bufio.NewScanner(r); lines.Scan(); {
		line := strings.TrimSpace(lines.Text())
		verb, rest, _ := strings.Cut(line, " ")
		switch {
		case line == "empty":
			bench.Swap(nil)
		case line == "press", line == "release":
			bench.Press(line == "press")
		case line == "unclip":
			bench.Unclip()
		case verb == "clip":
			if err := clip(bench, rest); err != nil {
				fmt.Fprintln(os.Stderr, err)
			}
		default:
			places, err := virtual.ParseTray(strings.NewReader(line), library.Open)
			if err != nil {
				fmt.Fprintln(os.Stderr, err)
			}
			for _, p := range places {
				bench.Swap(p.Chip)
			}
		}
	}
}

func serve(ctx context.Context, socket *virtual.Socket, bought bool) error {
	bench, err := avrsim.NewBench(socket)
	if err != nil {
		return err
	}
	defer bench.Close()
	port, err := avrsim.OpenPTY()
	if err != nil {
		return err
	}
	fmt.Println("PORT", port.Path)
	go execute(os.Stdin, bench)
	if bought {
		return bench.ServeBought(ctx, port, avrsim.RealTime)
	}
	return bench.Serve(ctx, port, avrsim.RealTime)
}
