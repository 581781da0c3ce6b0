package adapter

import (
	"cmp"
	"context"
	"fmt"

	"chipassay/protocol"
	"chipassay/vectors/part"
)

// A Pull is what the bias resistors, 10 kΩ, or the load resistors, 1 kΩ, do:
// nothing, or each of them pulls its position high or low. Up are those pulled
// high, as pins of the chip or as positions of the socket, as the operation says.
type Pull struct {
	On bool
	Up part.Pins
}

// Off, and every position pulled the same way.
var (
	Off  = Pull{}
	Low  = Pull{On: true}
	High = Pull{On: true, Up: 1<<Positions - 1}
)

// PullUp pulls some pins, or positions, high and all others low.
func PullUp(pins part.Pins) Pull { return Pull{On: true, Up: pins} }

// Compare orders pulls: off first, then by what they pull high.
func (p Pull) Compare(q Pull) int {
	switch {
	case p.On == q.On:
		return cmp.Compare(p.Up, q.Up)
	case q.On:
		return -1
	}
	return 1
}

func (p Pull) String() string {
	switch p {
	case Off:
		return "off"
	case Low:
		return "low"
	case High:
		return "high"
	}
	return fmt.Sprintf("high at %v", p.Up)
}

// in gives a pull in socket words.
func (p Pull) in(f frame) protocol.Pull {
	if !p.On {
		return protocol.Pull{}
	}
	return protocol.Pull{On: true, Up: uint32(f.word(p.Up))}
}

// Pulls sets the bias and the load resistors, by the chip's pins, and leaves all
// else as it is.
func (s *Seat) Pulls(ctx context.Context, bias, load Pull) error {
	return s.adapter.setPulls(ctx, protocol.Pulls{Bias: bias.in(s.frame()), Load: load.in(s.frame())})
}

func (a *Adapter) setPulls(ctx context.Context, pulls protocol.Pulls) error {
	if a.pulls == pulls {
		return nil
	}
	if err := a.pullable(pulls.Bias.On, pulls.Load.On); err != nil {
		return a.fail(err)
	}
	if err := a.call(ctx, &pulls, &protocol.Acknowledged{Request: protocol.TypePulls}, 0); err != nil {
		return err
	}
	a.pulls = pulls
	return nil
}

// pullable refuses resistors that the adapter does not have.
func (a *Adapter) pullable(bias, load bool) error {
	switch c := a.Capabilities; {
	case bias && c.Bias == 0:
		return fmt.Errorf("%w bias the pins: it has no bias resistors", ErrCannot)
	case load && c.Load == 0:
		return fmt.Errorf("%w load the pins: its load resistors are not fitted", ErrCannot)
	}
	return nil
}

// frame counts the chip's pins; its supply pins are pulled to the level that they
// have anyway, so that no resistor adds to the supply current.
func (s *Seat) frame() frame {
	chip := part.Pins(1<<s.Pins - 1)
	word := func(pins part.Pins) Word { return s.word(pins & chip) }
	return frame{word, s.pins, s.pinAt}
}

// pulled is a pull of a powered chip's pins, its supply pins left at their levels.
func (s *Seat) pulled(p Pull) protocol.Pull {
	p.Up = p.Up.With(s.VCC, true).With(s.GND, false)
	return p.in(s.frame())
}
