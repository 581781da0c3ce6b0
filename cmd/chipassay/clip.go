package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"chipassay/host/adapter"
	"chipassay/host/assay/thresholds"
	"chipassay/host/quantity"
	"chipassay/host/virtual"
	"chipassay/vectors/part"
)

// clipping is how a person has thresholds measured with a capacitor at the side header.
type clipping struct {
	marked string
	inputs string
	farads float64
}

func (c *clipping) flags(cmd *cobra.Command) {
	cmd.Flags().StringVar(&c.inputs, "inputs", "", "with --capacitor, all: every input, not only Schmitt triggers and one of each gate")
}

// check reads the flags, before anything is powered.
func (c *clipping) check() (err error) {
	switch {
	case c.inputs != "" && c.inputs != "all":
		return fmt.Errorf("--inputs %s: there is only all", c.inputs)
	case c.marked == "" && c.inputs != "":
		return errors.New("--inputs needs a capacitor: add --capacitor 1u")
	case c.marked == "":
		return nil
	}
	if c.farads, err = quantity.ParseFarads(c.marked); err != nil {
		return fmt.Errorf("--capacitor: %w", err)
	}
	if c.farads < thresholds.LeastFarads || c.farads > thresholds.MostFarads {
		return fmt.Errorf("--capacitor %s: give 100n to 10u; 1u fits every family", c.marked)
	}
	return nil
}

// request is what is to be measured; nil for nothing. The virtual adapter's capacitor is clipped to its
// socket, a real one by the person.
func (c *clipping) request(cmd *cobra.Command, socket *virtual.Socket, t part.Type) *thresholds.Request {
	if c.farads == 0 {
		return nil
	}
	q := &thresholds.Request{Farads: c.farads, All: c.inputs == "all"}
	pins := len(t.Variant.Pins)
	if socket != nil {
		q.Clip = func(_ context.Context, pin int) error {
			socket.Unclip()
			if pin != 0 {
				socket.Clip(virtual.Capacitor{Farads: c.farads, P: adapter.PositionOf(pin, pins)})
			}
			return nil
		}
		return q
	}
	for _, text := range thresholds.Cautions {
		fmt.Fprintln(cmd.ErrOrStderr(), "caution: "+text)
	}
	answers := bufio.NewReader(cmd.InOrStdin())
	q.Clip = func(ctx context.Context, pin int) error {
		if pin == 0 {
			fmt.Fprintln(cmd.ErrOrStderr(), "Take the capacitor off.")
			return nil
		}
		fmt.Fprintf(cmd.ErrOrStderr(), "Clip %s between socket position %d (pin %d, %s) and ground of the side header, plus at the pin. Then press Enter: ",
			quantity.Farads(c.farads), adapter.PositionOf(pin, pins), pin, t.Variant.Pins[pin-1].Name)
		_, err := answers.ReadString('\n')
		if errors.Is(err, io.EOF) {
			return errors.New("nobody pressed Enter")
		}
		return errors.Join(err, ctx.Err())
	}
	return q
}
