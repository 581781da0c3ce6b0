package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"chipassay/host/adapter"
	"chipassay/host/assay/thresholds"
	"chipassay/host/quantity"
	"chipassay/host/virtual"
	"chipassay/vectors/part"
)

// A helper is a person who clips to the side header what is asked for.
type helper interface {
	ask(ctx context.Context, what string) error // returns when it is clipped on
	say(what string)
}

// A header is the side header of a real adapter, to which a person clips what is asked for. The caution is
// printed once, before the first time.
type header struct {
	out      io.Writer
	in       *bufio.Reader
	cautions []string
}

func headerOf(cmd *cobra.Command, cautions ...string) *header {
	return &header{out: cmd.ErrOrStderr(), in: bufio.NewReader(cmd.InOrStdin()), cautions: cautions}
}

// ask says what to clip and waits for Enter, from a terminal or whatever else gives lines. It does not go on
// where nobody can have clipped anything.
func (h *header) ask(ctx context.Context, what string) error {
	for _, text := range h.cautions {
		fmt.Fprintln(h.out, "caution: "+text)
	}
	h.cautions = nil
	fmt.Fprint(h.out, what+". Then press Enter: ")
	read := make(chan error, 1)
	go func() { _, err := h.in.ReadString('\n'); read <- err }()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case err := <-read:
		if errors.Is(err, io.EOF) {
			fmt.Fprintln(h.out)
			return errors.New("nobody pressed Enter, so that nothing is known to be clipped on")
		}
		return err
	}
}

func (h *header) say(what string) { fmt.Fprintln(h.out, what) }

// place is a pin as a person finds it at the header.
func place(v *part.Variant, pin int) string {
	return fmt.Sprintf("position %d (pin %d, %s)", adapter.PositionOf(pin, len(v.Pins)), pin, v.Pins[pin-1].Name)
}

// clipping is how a person has thresholds measured with a capacitor at the side header.
type clipping struct {
	marked string
	inputs string
	only   part.Pins // of these alone, where any are named
	farads float64
}

func (c *clipping) flags(cmd *cobra.Command) {
	cmd.Flags().StringVar(&c.inputs, "inputs", "", "with --capacitor, all: every input, not only Schmitt triggers and one of each gate;\nor the names or numbers of some, such as 1A,2A")
}

// check reads the flags, before anything is powered.
func (c *clipping) check(t part.Type) (err error) {
	switch {
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
	return c.choose(t)
}

// choose reads which inputs are meant.
func (c *clipping) choose(t part.Type) error {
	if c.inputs == "" || c.inputs == "all" {
		return nil
	}
	for _, name := range strings.Split(c.inputs, ",") {
		name = strings.TrimSpace(name)
		at := slices.IndexFunc(t.Variant.Pins, func(p part.Pin) bool {
			return (p.Role == part.Input || p.Role == part.Bidirectional) && (strings.EqualFold(p.Name, name) || strconv.Itoa(p.Number) == name)
		})
		if at < 0 {
			return fmt.Errorf("--inputs %s: a %s has no input %q: give names or numbers of pins, or all", c.inputs, t.Name(), name)
		}
		c.only = c.only.With(at+1, true)
	}
	return nil
}

// request is what is to be measured; nil for nothing. The virtual adapter's capacitor is clipped to its
// socket, a real one by the person.
func (c *clipping) request(h helper, socket *virtual.Socket, t part.Type) *thresholds.Request {
	if c.farads == 0 {
		return nil
	}
	q := &thresholds.Request{Farads: c.farads, All: c.inputs == "all", Only: c.only}
	if socket != nil {
		q.Clip = func(_ context.Context, pin int) error {
			socket.Unclip()
			if pin != 0 {
				socket.Clip(virtual.Capacitor{Farads: c.farads, P: adapter.PositionOf(pin, len(t.Variant.Pins))})
			}
			return nil
		}
		return q
	}
	q.Clip = func(ctx context.Context, pin int) error {
		if pin == 0 {
			h.say(takeOff)
			return nil
		}
		return h.ask(ctx, fmt.Sprintf("Clip %s between %s and ground of the side header, plus at the pin", quantity.Farads(c.farads), place(t.Variant, pin)))
	}
	return q
}

// takeOff is said at the end: what stays clipped on is at the next chip's pins too.
const takeOff = "Take the capacitor off."

// listed joins what is to be clipped on, a line each.
func listed(words []string) string { return strings.Join(words, "\n  and ") }
