package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"chipassay/firmware/carrier"
	"chipassay/host/adapter"
	"chipassay/host/link"
	"chipassay/host/virtual"
)

func dirOf(name string) string { return filepath.Dir(name) }

// virtualAdapter is the name that --adapter takes for the adapter without hardware.
const virtualAdapter = "virtual"

// A connection is which adapter a command works with, and how.
type connection struct {
	adapter string // serial port, or virtualAdapter; empty to look for one
	baud    int    // 0 for the fastest that the line carries
	groups  []string
	usb     float64 // V
	defects []string
	socket  *virtual.Socket // of the virtual adapter, once it is open
}

// flags gives a command the flags that say which adapter it works with.
func (c *connection) flags(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringVar(&c.adapter, "adapter", "", `serial port of the adapter, or "virtual" (default: searched for)`)
	c.portFlags(cmd)
	flags.StringSliceVar(&c.groups, "groups", nil, "virtual adapter: the fitted groups of its carrier: starter, load,\nfar, switches, converters (default: all)")
	flags.StringArrayVar(&c.defects, "board-defect", nil, "virtual adapter: a defect of its board (may be repeated):\n"+virtual.BoardDefectForms())
}

// supplyFlag gives it the flag of the virtual adapter's supply; calibrate has
// another one of that name.
func (c *connection) supplyFlag(cmd *cobra.Command) {
	cmd.Flags().Float64Var(&c.usb, "supply", 0, "virtual adapter: volts at the USB port, 4.4 to 5.5 (default: 5)")
}

// portFlags are those for an adapter at a serial port.
func (c *connection) portFlags(cmd *cobra.Command) {
	cmd.Flags().IntVar(&c.baud, "baud", 0, "rate of the serial line: 1000000, 500000 or 38400 (default: the fastest that loses no frames)")
}

// virtualOnly are the flags of a command that mean nothing to a real adapter.
var virtualOnly = []string{"board-defect", "board-spread", "groups", "supply", "seed", "chip", "in-socket", "defect", "contents"}

// check refuses flags that the named adapter has no use for. Own are flags of the
// command whose names virtualOnly has and that mean something else there.
func (c *connection) check(cmd *cobra.Command, own ...string) error {
	if c.adapter == virtualAdapter {
		return nil
	}
	for _, name := range virtualOnly {
		if cmd.Flags().Changed(name) && !slices.Contains(own, name) {
			return fmt.Errorf("--%s is for the virtual adapter: add --adapter virtual", name)
		}
	}
	return nil
}

// board is the virtual adapter's board.
func (c *connection) board() (*virtual.Board, error) {
	b := virtual.NewBoard()
	if c.groups != nil {
		groups, err := carrier.ParseGroups(c.groups)
		if err != nil {
			return nil, fmt.Errorf("--groups: %w", err)
		}
		b.Groups(groups...)
	}
	if c.usb != 0 {
		if c.usb < 4.4 || c.usb > 5.5 {
			return nil, fmt.Errorf("--supply %g: a USB port has 4.4 to 5.5 V", c.usb)
		}
		b.USB(c.usb)
	}
	for _, text := range c.defects {
		if err := b.Damage(text); err != nil {
			return nil, err
		}
	}
	return b, nil
}

// virtual opens the virtual adapter with a chip in its socket; nil for none.
func (c *connection) virtual(ctx context.Context, chip *virtual.Chip, seed uint64) (*adapter.Adapter, error) {
	b, err := c.board()
	if err != nil {
		return nil, err
	}
	c.socket = b.Socket(chip, seed)
	return openSocket(ctx, c.socket)
}

// port opens the adapter at a serial port, or the one that is found where no port
// is named. Say is called with what a person should know about the line.
func (c *connection) port(ctx context.Context, say func(string)) (*adapter.Adapter, error) {
	l, err := c.connect(ctx)
	if err != nil {
		return nil, couldNotTest(err)
	}
	if l.Slowed != "" {
		say(l.Slowed)
	}
	a, err := adapter.Open(ctx, l)
	if err != nil {
		return nil, couldNotTest(errors.Join(err, l.Close()))
	}
	return a, nil
}

// printing prints lines to a command's standard error.
func printing(cmd *cobra.Command) func(string) {
	return func(words string) { fmt.Fprintln(cmd.ErrOrStderr(), strings.TrimSpace(words)) }
}

func (c *connection) connect(ctx context.Context) (*link.Link, error) {
	if c.adapter != "" {
		return link.Connect(ctx, c.adapter, c.baud)
	}
	seen, err := link.Probe(ctx, c.baud)
	if err != nil {
		return nil, err
	}
	l, _, err := link.Only(seen)
	return l, err
}

// openSocket opens the virtual adapter on a socket.
func openSocket(ctx context.Context, socket *virtual.Socket) (*adapter.Adapter, error) {
	conn, err := virtual.Open(ctx, socket)
	if err != nil {
		return nil, couldNotTest(err)
	}
	a, err := adapter.Open(ctx, link.New(conn, 0))
	if err != nil {
		return nil, couldNotTest(errors.Join(err, conn.Close()))
	}
	return a, nil
}
