package virtual

import (
	"fmt"

	"chipassay/host/adapter"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// A Chip is a part in the socket, good or with defects.
type Chip struct {
	Type    part.Type
	Defects []Defect
	die     die
	pads    []pad // pads[i] is pin i+1
	present bool
	turned  bool
}

// die is the logic of a chip, as logic.Machine has it; all lanes carry the same.
type die interface {
	Set(pin int, w logic.Word)
	Settle()
	Out(pin int) logic.Word
	PowerUp(seed uint64)
}

// A pad is a pin's connection to the die: what hangs on the pin electrically
// and which way levels go.
type pad struct {
	pin       int
	bonded    bool // to the package's pin
	in, out   bool // ever an input, ever an output
	receiver  receiver
	input     element
	pullUp    element
	low, high element
	stuck     logic.Value // Zero or One; X where it is not stuck
}

// NewChip puts a part of one family together with its defects. It refuses a
// defect of a pin that the part does not have or does not use.
//
// A stuck output is a dead transistor: the pin is held at the supply through
// 10 Ω. A stuck input is one that the die no longer follows: inside it stays at
// the level, while the pin looks like any other input; a pin that is hard at
// ground is "N shorted to" the ground pin. A bidirectional pin has both.
func NewChip(t part.Type, defects ...Defect) (*Chip, error) {
	circuit, err := logic.Compile(t.Variant)
	if err != nil {
		return nil, err
	}
	return newChip(t, circuit.NewMachine(), defects)
}

func newChip(t part.Type, die die, defects []Defect) (*Chip, error) {
	c := &Chip{Type: t, Defects: defects, die: die, present: true}
	for i := range t.Variant.Pins {
		c.pads = append(c.pads, padOf(t.Family, &t.Variant.Pins[i]))
	}
	for _, d := range defects {
		if err := c.damage(d); err != nil {
			return nil, fmt.Errorf("defect %q: %w", d, err)
		}
	}
	return c, nil
}

func padOf(f *part.Family, pin *part.Pin) pad {
	p := pad{pin: pin.Number, bonded: pin.Role != part.NoConnect, stuck: logic.X}
	if pin.Role == part.Input || pin.Role == part.Bidirectional {
		p.in = true
		p.receiver, p.input, p.pullUp = receiverOf(f, pin), inputOf(f, pin), pullUpOf(pin)
	}
	if pin.Role == part.Output || pin.Role == part.Bidirectional {
		p.out = true
		p.low, p.high = outputsOf(f, pin)
	}
	return p
}

func (c *Chip) damage(d Defect) error {
	for _, pin := range []int{d.Pin, d.Other} {
		if pin > len(c.pads) {
			return fmt.Errorf("a %s has %d pins", c.Type.Name(), len(c.pads))
		}
	}
	switch d.Kind {
	case Reversed:
		c.turned = true
	case Empty:
		c.present = false
	case StuckLow, StuckHigh:
		p := &c.pads[d.Pin-1]
		if !p.in && !p.out {
			return fmt.Errorf("pin %d of a %s is %s: only an input or an output can be stuck",
				d.Pin, c.Type.Name(), c.role(d.Pin))
		}
		p.stuck = logic.FromBool(d.Kind == StuckHigh)
		if p.out {
			p.low = resistor(supplyVolts*float64(p.stuck&1), 10)
			p.high = p.low
		}
	case OpenBond:
		if !c.pads[d.Pin-1].bonded {
			return fmt.Errorf("pin %d of a %s is not connected inside anyway", d.Pin, c.Type.Name())
		}
		c.pads[d.Pin-1].bonded = false
	}
	return nil
}

func (c *Chip) role(pin int) part.Role { return c.Type.Variant.Pins[pin-1].Role }

// position is the socket position that pin p touches.
func (c *Chip) position(p int) int {
	n := len(c.pads)
	if c.turned {
		p = (p+n/2-1)%n + 1
	}
	return adapter.PositionOf(p, n)
}
