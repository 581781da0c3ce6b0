package virtual

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"chipassay/firmware/carrier"
)

// fitted gives a part of the netlist that may be changed.
func (b *Board) fitted(p *carrier.Part) *carrier.Part { return b.change().Part(p.Ref) }

func (b *Board) open(d boardDefect) error {
	if len(d.part.Pins) != 2 {
		return fmt.Errorf("%s has %d pins: say which is open, or that it is missing", d.part.Ref, len(d.part.Pins))
	}
	b.fitted(d.part).Pins[0].Net = ""
	return nil
}

func (b *Board) short(d boardDefect) error {
	p := d.part
	if p == nil {
		if p = b.partOf(buttonRef); p == nil {
			return errors.New("the board has no button")
		}
	}
	if len(p.Pins) != 2 {
		return fmt.Errorf("%s has %d pins: say which are shorted", p.Ref, len(p.Pins))
	}
	return b.solder(p.Pins[0].Net, p.Pins[1].Net)
}

func (b *Board) remove(d boardDefect) error {
	if d.part.Ref == mcuRef || d.part.Ref == socketRef {
		return fmt.Errorf("without %s there is no adapter", d.part.Ref)
	}
	ref := d.part.Ref
	n := b.change()
	n.Parts = slices.DeleteFunc(n.Parts, func(p carrier.Part) bool { return p.Ref == ref })
	return nil
}

func (b *Board) turn(d boardDefect) error {
	switch d.part.Kind {
	case carrier.NMOS, carrier.PNP, carrier.Reference, carrier.LED:
	case carrier.Capacitor:
		if d.part.Farads < 1e-6 {
			return fmt.Errorf("%s has no right way round", d.part.Ref)
		}
	case carrier.Resistor, carrier.Button, carrier.Fuse, carrier.Link:
		return fmt.Errorf("%s has no right way round", d.part.Ref)
	default:
		return fmt.Errorf("%s the wrong way round would burn", d.part.Ref)
	}
	pins := b.fitted(d.part).Pins
	last := len(pins) - 1
	pins[0].Net, pins[last].Net = pins[last].Net, pins[0].Net
	return nil
}

func (b *Board) kill(d boardDefect) error {
	p := d.part
	if p == nil {
		if p = b.partOf(monitorRef); p == nil {
			return errors.New("the board has no monitor")
		}
	}
	if !slices.Contains([]carrier.Kind{carrier.Register, carrier.Converter, carrier.Reference, carrier.Monitor}, p.Kind) {
		return fmt.Errorf("%s is no integrated circuit", p.Ref)
	}
	b.dead = with(b.dead, p.Ref, true)
	b.change()
	return nil
}

func with(m map[string]bool, key string, value bool) map[string]bool {
	if m == nil {
		m = map[string]bool{}
	}
	m[key] = value
	return m
}

// leastOhms is the resistance of a solder bridge, Ω.
const leastOhms = 0.01

func (d boardDefect) checkOhms() error {
	if !(d.amount >= leastOhms && d.amount <= mostAmount) {
		return fmt.Errorf("the resistance must be from %g to %d Ω", leastOhms, mostAmount)
	}
	return nil
}

func (b *Board) setOhms(d boardDefect) error {
	p := d.part
	if p == nil {
		if p = b.partOf(monitorRef); p == nil {
			return errors.New("the board has no monitor")
		}
	}
	if p.Ohms == 0 {
		return fmt.Errorf("%s has no resistance", p.Ref)
	}
	if err := d.checkOhms(); err != nil {
		return err
	}
	b.fitted(p).Ohms = d.amount
	return nil
}

func (b *Board) setAll(d boardDefect) error {
	if err := d.checkOhms(); err != nil {
		return err
	}
	prefix := map[string]string{"drive": "R1", "bias": "R3", "load": "R4"}[d.words[1]]
	n := b.change()
	for i := range n.Parts {
		if p := &n.Parts[i]; p.Kind == carrier.Resistor && p.Position != 0 && strings.HasPrefix(p.Ref, prefix) {
			p.Ohms = d.amount
		}
	}
	return nil
}

func (b *Board) openPin(d boardDefect) error {
	b.fitted(d.part).Pins[d.pin].Net = ""
	return nil
}

func (b *Board) shortPins(d boardDefect) error {
	pins := b.fitted(d.part).Pins
	if d.pin == d.other {
		return errors.New("a pin cannot be shorted to itself")
	}
	for _, at := range []int{d.pin, d.other} {
		if pins[at].Net == "" {
			pins[at].Net = d.part.Ref + "." + pins[at].Number
		}
	}
	return b.solder(pins[d.pin].Net, pins[d.other].Net)
}

// openNet opens the joint of a line at the MCU's board, or of a column at the socket.
func (b *Board) openNet(d boardDefect) error {
	if _, gone := b.joined[d.net]; gone {
		d.net = b.after(d.net)
	}
	for _, ref := range []string{mcuRef, socketRef} {
		for i, pin := range b.netlist.Part(ref).Pins {
			if strings.EqualFold(pin.Name, d.words[0]) && pin.Net != "+5V" && pin.Net != "GND" {
				b.fitted(b.netlist.Part(ref)).Pins[i].Net = ""
				return nil
			}
		}
	}
	return fmt.Errorf("%s is no line of the MCU and no column: name the pin that is open", d.net)
}

func (b *Board) shortNets(d boardDefect) error { return b.solder(b.after(d.net), b.after(d.net2)) }

// after is a net's name after solder joined it to another.
func (b *Board) after(net string) string {
	for {
		to, gone := b.joined[net]
		if !gone {
			return net
		}
		net = to
	}
}

// supplies are the nets that keep their names.
var supplies = []string{"+5V", "GND", "FUSED", "SUPPLY"}

// solder joins two nets into one. A net joined to a supply keeps its name and is held at it.
func (b *Board) solder(one, other string) error {
	switch {
	case one == "" || other == "":
		return errors.New("one of the pins leads nowhere")
	case one == other:
		return errors.New("they are one net already")
	case slices.Contains([]string{"+5V", "GND"}, one) && slices.Contains([]string{"+5V", "GND"}, other):
		return errors.New("the board would not start: its 5 V are shorted")
	}
	n := b.change()
	if slices.Contains(supplies, one) || slices.Contains(supplies, other) {
		n.Parts = append(n.Parts, carrier.Part{
			Ref: fmt.Sprintf("Rsolder%d", len(n.Parts)), Kind: carrier.Resistor, Ohms: leastOhms,
			Pins: []carrier.Pin{{Number: "1", Name: "1", Net: one}, {Number: "2", Name: "2", Net: other}},
		})
		return nil
	}
	for i := range n.Parts {
		for j := range n.Parts[i].Pins {
			if p := &n.Parts[i].Pins[j]; p.Net == other {
				p.Net = one
			}
		}
	}
	if b.joined == nil {
		b.joined = map[string]string{}
	}
	b.joined[other] = one
	return nil
}

func (b *Board) stickLow(d boardDefect) error  { return b.stick(d, false) }
func (b *Board) stickHigh(d boardDefect) error { return b.stick(d, true) }

// stick holds a line of the MCU, or the output of the register that drives a net.
func (b *Board) stick(d boardDefect, high bool) error {
	if isLine(d.net) {
		b.stuck = with(b.stuck, d.net, high)
		b.change()
		return nil
	}
	for _, end := range b.netlist.Terminals(b.after(d.net)) {
		if end.Part.Kind == carrier.Register && end.Pin.Type == carrier.TriState {
			b.stuck = with(b.stuck, end.Part.Ref+" "+end.Pin.Name, high)
			b.change()
			return nil
		}
	}
	return fmt.Errorf("%s is no line of the MCU, and no output of a register drives it", d.net)
}

func (b *Board) setReference(d boardDefect) error {
	if !(d.amount > 0 && d.amount <= supplyVolts) {
		return fmt.Errorf("the reference must be above 0 and up to %g V", supplyVolts)
	}
	b.reference = d.amount
	return nil
}

func (b *Board) setGain(d boardDefect) error {
	if !(d.amount > 0.5 && d.amount < 2) {
		return errors.New("the gain must be from 0.5 to 2")
	}
	b.converter[d.number].gain = d.amount
	return nil
}

func (b *Board) setOffset(d boardDefect) error {
	if !(d.amount > -1000 && d.amount < 1000) {
		return errors.New("the offset must be within 1000 mV")
	}
	b.converter[d.number].offset = d.amount / 1000
	return nil
}
