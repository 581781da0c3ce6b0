package virtual

import (
	"fmt"
	"slices"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// A Chip is a part in the socket, good or with defects.
type Chip struct {
	Type    part.Type
	Defects []Defect
	die     die
	variety Variety
	pads    []pad // pads[i] is pin i+1
	present bool
	turned  bool
	loose   bool // a bond wire is loose
	late    bool // an output is late
	shift   int  // positions off the lever end
	// stretched is by what a capacitor at a pin acts larger than it is, where the chip times wrongly.
	stretched map[int]float64
	extra     float64 // A, taken from the supply beyond what a good chip takes
	resting   branch  // what is between the die's supply and its ground: see rest
}

// die is the logic of a chip, as logic.Machine has it; all lanes carry the same.
type die interface {
	Set(pin int, w logic.Word)
	Settle()
	Out(pin int) logic.Word
	PowerUp(seed uint64)
}

// A pad is a pin's connection to the die: what is connected to the pin electrically, and
// in which direction levels go.
type pad struct {
	pin       int
	bonded    bool    // to the package's pin
	loose     bool    // the bond opens now and then once the chip is warm
	rarely    float64 // it opens at one change in so many, warm or cold; 0 for never
	away      bool    // it is open now
	in, out   bool    // ever an input, ever an output
	timing    bool    // the die knows the time, and charges or discharges the pin, or looks at its voltage
	receiver  receiver
	input     element
	pullUp    element
	low, high element
	leakage   element
	below     element     // the junction that keeps the pin above ground
	above     element     // the junction that keeps it below VCC
	ohms      float64     // in series with both
	stuck     logic.Value // Zero or One; X where it is not stuck
	lag
}

// NewChip puts a part of one family together with its defects. It refuses a
// defect of a pin that the part does not have or does not use.
//
// A stuck output is a dead transistor: the pin is held at the supply through
// 10 Ω. A stuck input is one that the die no longer follows: the level inside stays,
// while the pin looks like any other input. A pin tied hard to ground is "N shorted to"
// the ground pin. A bidirectional pin can have both.
func NewChip(t part.Type, defects ...Defect) (*Chip, error) {
	if m := inside(t, defects).Variant.Memory; m != nil {
		return newChip(t, newMemory(m), defects)
	}
	machine, err := newLogic(inside(t, defects).Variant, defects)
	if err != nil {
		return nil, err
	}
	timed, err := newTimed(inside(t, defects), machine, defects)
	if err != nil {
		return nil, err
	}
	if timed != nil {
		return newChip(t, timed, defects)
	}
	return newChip(t, machine, defects)
}

// inside is the type of the die in a chip that is marked as t.
func inside(t part.Type, defects []Defect) part.Type {
	for _, d := range defects {
		if d.Kind != WrongFamily {
			continue
		}
		t.Family = part.FamilyByName(d.Family)
		if v := t.Part().In(t.Family); v != nil {
			t.Variant = v
		}
	}
	return t
}

func newChip(t part.Type, die die, defects []Defect) (*Chip, error) {
	t = inside(t, defects)
	c := &Chip{Type: t, Defects: defects, die: die, present: true, variety: Nominal(t)}
	c.makePads()
	var err error
	if c.stretched, err = stretched(t, defects); err != nil {
		return nil, err
	}
	for _, d := range defects {
		if err := c.damage(d); err != nil {
			return nil, fmt.Errorf("defect %q: %w", d, err)
		}
	}
	return c, nil
}

// Vary turns it into another chip of the same type with the same defects, as another maker
// or process would make it. It is for chips that are not in a socket.
func (c *Chip) Vary(v Variety) {
	c.variety = v
	c.makePads()
	for _, d := range c.Defects {
		if d.ofPad() {
			c.damage(d) // it had it before
		}
	}
}

// Variety is what sets the chip apart from others of its type.
func (c *Chip) Variety() Variety { return c.variety }

// makePads makes the pads of a good chip. Pins that are alike share their curves.
func (c *Chip) makePads() {
	type kind struct {
		role    part.Role
		stage   part.Stage
		drive   part.Drive
		load    float64
		pullUp  bool
		schmitt bool
		line    bool
		trip    float64
		written bool
	}
	made := map[kind]pad{}
	c.resting = c.rest(0, 1)
	c.pads = make([]pad, len(c.Type.Variant.Pins))
	for i := range c.pads {
		pin := &c.Type.Variant.Pins[i]
		k := kind{pin.Role, pin.Stage, pin.Drive, pin.LoadIn(c.Type.Family), pin.PullUp, pin.Schmitt, pin.Receiver, pin.Trip, c.writtenAt(pin)}
		if _, ok := made[k]; !ok {
			c.makePad(&c.pads[i], pin)
			made[k] = c.pads[i]
		}
		c.pads[i] = made[k]
		c.pads[i].pin = pin.Number
	}
	if t, ok := c.die.(timer); ok {
		for _, pin := range t.timing() {
			c.pads[pin-1].timing, c.pads[pin-1].bonded = true, true
		}
	}
}

// writtenAt reports whether an EEPROM takes a bit at an output as it is written.
func (c *Chip) writtenAt(pin *part.Pin) bool {
	m := c.Type.Variant.Memory
	return m != nil && m.Rewrite != nil && slices.Contains(m.DataOut, pin.Number)
}

func (c *Chip) makePad(p *pad, pin *part.Pin) {
	f, v := c.Type.Family, &c.variety
	*p = pad{pin: pin.Number, bonded: pin.Role != part.NoConnect, stuck: logic.X}
	if pin.Role == part.Input || pin.Role == part.Bidirectional || c.writtenAt(pin) {
		p.in = true
		p.receiver, p.input, p.pullUp = v.receiverOf(f, c.Type.Part().Number, pin), v.inputOf(f, pin), v.pullUpOf(pin)
		if v.Leakage > 0 {
			p.leakage = resistorTo(atGround, curveSupply/v.Leakage)
		}
	}
	if pin.Role == part.Output || pin.Role == part.Bidirectional {
		p.out = true
		p.low, p.high = v.outputsOf(f, pin)
	}
	c.protect(p)
}

// supplied sets the voltages of the die's supply nodes: behind the bond wires, and so
// above the ground pin and below the supply pin by the drop of its current. The pins
// follow from that.
func (c *Chip) supplied(vcc, gnd float64) {
	if d, ok := c.die.(*timed); ok {
		d.supplied(vcc, gnd)
	}
	for i := range c.pads {
		p := &c.pads[i]
		p.receiver.supplied(vcc, gnd)
		for _, e := range [...]*element{&p.input, &p.pullUp, &p.low, &p.high, &p.leakage, &p.below, &p.above} {
			e.supplied(vcc, gnd)
		}
	}
}

// restAmps is the chip's supply current at rest, A, with some volts between the
// supply nodes of its die.
func (c *Chip) restAmps(volts float64) float64 {
	amps, _ := c.resting.at(max(0, volts))
	return amps + c.extra*volts/curveSupply
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
	case Shifted:
		if c.shift = int(d.Amount); len(c.pads)+2*c.shift > adapter.Positions {
			return fmt.Errorf("the socket has no room for a %d-pin package shifted by %d", len(c.pads), c.shift)
		}
	case Empty:
		c.present = false
	case ShortedToSupply, ShortedToGround:
		if pin, other := c.touching(d); pin == other {
			return fmt.Errorf("pin %d of a %s is the %s itself", d.Pin, c.Type.Name(), c.role(d.Pin))
		}
	case ExtraCurrent:
		c.extra += d.Amount / 1000
	case Bent:
		c.pads[d.Pin-1].bonded = false
	case OpenBond, Intermittent, RarelyIntermittent:
		p := &c.pads[d.Pin-1]
		if !p.bonded {
			return fmt.Errorf("pin %d of a %s is not connected inside anyway", d.Pin, c.Type.Name())
		}
		p.bonded, p.loose = d.Kind != OpenBond, d.Kind == Intermittent
		if d.Kind == RarelyIntermittent {
			p.rarely = d.Amount
		}
		c.loose = c.loose || p.bonded
	case NoPulse, NoRetrigger, NoClear, DeadTrigger:
		if _, ok := c.die.(*timed); !ok {
			return fmt.Errorf("a %s times nothing at pins that are for a capacitor alone: what it does otherwise is a defect of its logic", c.Type.Name())
		}
	case StuckLow, StuckHigh, Leaky, Weak, DeadPullUp, DeadPullDown, Late, LateRise, LateFall, Threshold, NoHysteresis:
		return c.damagePad(d)
	case CellStuckLow, CellStuckHigh, CellCouples, CellForgets, DeadRow, DeadColumn, SlowWrite, WriteProtected:
		m, ok := c.die.(*memory)
		if !ok {
			return fmt.Errorf("a %s is no memory", c.Type.Name())
		}
		return m.damage(d)
	case BitIgnores, BitHolds, BitInverts, BitObeysAlways, BitObeysOtherEdge, DeadTerm, CatchesOnes, EdgeTriggered:
		if _, ok := c.die.(*memory); ok {
			return fmt.Errorf("a %s is a memory, which has cells and no registers", c.Type.Name())
		}
	}
	return nil
}

// Burn sets the contents of a read-only memory, one byte for each word; missing words read
// as erased. Other chips ignore it.
func (c *Chip) Burn(contents []byte) {
	if m, ok := c.die.(*memory); ok && m.Kind.ROM() {
		m.burn(contents)
	}
}

// LongestUnrefreshed is the longest time that a row of a dynamic RAM went without refresh
// since power-on; 0 for any other chip.
func (c *Chip) LongestUnrefreshed() time.Duration {
	if m, ok := c.die.(*memory); ok {
		return m.longest
	}
	return 0
}

// keepTime gives a memory the clock that it forgets by.
func (c *Chip) keepTime(clock func() time.Duration) bool {
	m, ok := c.die.(*memory)
	if ok {
		m.clock = clock
	}
	return ok && (m.Kind == part.DynamicRAM || len(m.forgets) > 0)
}

// ofPad reports whether a defect is one of a pin's bond wire, input or output.
func (d Defect) ofPad() bool {
	switch d.Kind {
	case Bent, OpenBond, Intermittent, RarelyIntermittent, StuckLow, StuckHigh, Leaky, Weak, DeadPullUp, DeadPullDown, Late, LateRise, LateFall, Threshold, NoHysteresis:
		return true
	}
	return false
}

// damagePad applies a defect of a pin's input or output stage.
func (c *Chip) damagePad(d Defect) error {
	p := &c.pads[d.Pin-1]
	switch {
	case d.Kind == Leaky && (p.in || p.out):
		p.leakage = resistorTo(atGround, curveSupply/(d.Amount/1000))
		return nil
	case d.Kind == Threshold && p.in:
		p.receiver.lower, p.receiver.upper, p.receiver.slow = d.Amount, d.Amount, d.Amount
		p.receiver.supplied(curveSupply, 0)
		return nil
	case d.Kind == NoHysteresis && p.in && p.receiver.schmitt:
		middle := (p.receiver.lower + p.receiver.upper) / 2
		p.receiver.lower, p.receiver.upper = middle, middle
		p.receiver.supplied(curveSupply, 0)
		return nil
	case d.Kind == Threshold, d.Kind == NoHysteresis, d.Kind != StuckLow && d.Kind != StuckHigh && !p.out, !p.in && !p.out:
		return fmt.Errorf("pin %d of a %s is %s, which cannot have that", d.Pin, c.Type.Name(), c.role(d.Pin))
	}
	switch d.Kind {
	case Weak:
		p.low, p.high = p.low.behind(d.Amount), p.high.behind(d.Amount)
	case DeadPullUp:
		p.high = element{}
	case DeadPullDown:
		p.low = element{}
	case Late, LateRise, LateFall:
		p.by, c.late = time.Duration(d.Amount*float64(time.Microsecond)), true
		p.risesInTime, p.fallsInTime = d.Kind == LateFall, d.Kind == LateRise
	default:
		p.stuck = logic.FromBool(d.Kind == StuckHigh)
		if p.out {
			p.low = resistorTo(atGround, 10)
			if d.Kind == StuckHigh {
				p.low = resistorTo(atSupply, 10)
			}
			p.high = p.low
		}
	}
	return nil
}

// touching gives the pins that a defect joins, 0 if it joins none.
func (c *Chip) touching(d Defect) (pin, other int) {
	switch d.Kind {
	case Shorted:
		return d.Pin, d.Other
	case ShortedToSupply:
		return d.Pin, c.Type.Variant.VCC()
	case ShortedToGround:
		return d.Pin, c.Type.Variant.GND()
	}
	return 0, 0
}

func (c *Chip) role(pin int) part.Role { return c.Type.Variant.Pins[pin-1].Role }

// position is the socket position that pin p touches.
func (c *Chip) position(p int) int {
	n := len(c.pads)
	if c.turned {
		p = (p+n/2-1)%n + 1
	}
	if p > n/2 {
		return adapter.PositionOf(p, n) - c.shift
	}
	return adapter.PositionOf(p, n) + c.shift
}
