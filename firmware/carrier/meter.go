package carrier

import (
	"fmt"
	"slices"
	"strings"
)

// What the meter must show, stage by stage. Resistances are measured with the
// board of the microcontroller unplugged and the packages out of their sockets: then
// each is one resistor, and no path goes round it.

const (
	doOhms  = "measure ohms"
	doDiode = "test diode"
	doVolts = "measure volts"
	doLook  = "look"
	doThen  = "then"
)

// end gives a terminal of a net on a part that is no resistor, to put a lead on;
// the resistor's own otherwise.
func (b *builder) end(net string, not *Part) Terminal {
	var own Terminal
	for _, t := range b.n.Terminals(net) {
		switch {
		case t.Part == not:
			own = t
		case b.in[t.Part.Ref] && t.Part.Kind != Resistor && t.Part.Kind != Capacitor && t.Part.Kind != Header:
			return t
		}
	}
	return own
}

func (b *builder) ohms(red, black Terminal, ohms, tolerance float64) {
	within := tolerance + 1 // % for the meter
	b.add(Step{
		Check: doOhms, From: red, To: black, Red: place(red), Black: place(black), Ohms: ohms,
		Reads: fmt.Sprintf("%s (%s to %s)", plainOhms(ohms), plainOhms(ohms*(1-within/100)), plainOhms(ohms*(1+within/100))),
	})
}

func (b *builder) check(do, red, black, reads string) {
	b.add(Step{Check: do, Red: red, Black: black, Reads: reads})
}

// plainOhms writes a resistance as a meter shows it.
func plainOhms(ohms float64) string {
	if ohms >= 1000 {
		return fmt.Sprintf("%.2f kΩ", ohms/1000)
	}
	return fmt.Sprintf("%.0f Ω", ohms)
}

// checkSeries measures a resistor between what it joins.
func (b *builder) checkSeries(p *Part) {
	b.ohms(b.end(p.Pins[0].Net, p), b.end(p.Pins[1].Net, p), p.Ohms, p.TolerancePercent)
	if strings.HasPrefix(p.Ref, "R1") {
		name := p.Pins[1].Net
		i := slices.IndexFunc(lanes[:], func(l Lane) bool { return l.Name == name })
		if i+1 < len(lanes) && lanes[i+1].Left() == lanes[i].Left() {
			b.check(doOhms, place(b.end(name, p)), place(b.end(lanes[i+1].Name, p)), "more than 1 MΩ")
		}
	}
}

func (b *builder) checkRails(p *Part) {
	supply := "VCC"
	if p.Kind == Converter {
		supply = "VDD"
	}
	mcu := b.n.Part("A1")
	b.check(doOhms, place(Terminal{p, p.Pin(supply)}), place(Terminal{mcu, mcu.Pin(netRail)}), "less than 1 Ω")
	ground := "GND"
	if p.Kind == Converter {
		ground = "DGND"
	}
	b.check(doOhms, place(Terminal{p, p.Pin(ground)}), place(Terminal{mcu, mcu.Pin(netGround)}), "less than 1 Ω")
}

// checkControl follows the wires of a package that lead to no resistor of a position.
func (b *builder) checkControl(p *Part) {
	for i := range p.Pins {
		pin := &p.Pins[i]
		if pin.Net == "" || stiff(pin.Net) || pin.Type == TriState && p.Kind == Register {
			continue
		}
		if far := b.end(pin.Net, p); far.Part != nil && far.Part != p {
			b.check(doOhms, place(Terminal{p, pin}), place(far), "less than 1 Ω")
		}
	}
}

func (b *builder) checkSupply(p *Part) {
	mcu := b.n.Part("A1")
	five, ground := place(Terminal{mcu, mcu.Pin(netRail)}), place(Terminal{mcu, mcu.Pin(netGround)})
	if p.Kind == Fuse {
		b.check(doOhms, five, place(Terminal{p, &p.Pins[1]}), "less than 1 Ω")
		return
	}
	b.check(doOhms, five, place(Terminal{p, p.Pin("VIN-")}), "less than 1 Ω")
	b.check(doOhms, five, ground, "more than 1 kΩ; it may rise for a second")
}

func (b *builder) checkLowSide(p *Part) {
	ground := "any ground"
	if p.Kind == NMOS {
		b.check(doDiode, ground, place(b.end(p.Net("D"), p)), "0.4 to 0.8 V")
		b.check(doOhms, place(b.end(p.Net("D"), p)), ground, "more than 1 MΩ")
		return
	}
	mcu := b.n.Part("A1")
	b.ohms(b.end(p.Pins[0].Net, p), Terminal{mcu, mcu.Pin(netGround)}, p.Ohms, p.TolerancePercent)
}

func (b *builder) checkHighSide(p *Part) {
	switch {
	case p.Kind == PNP:
		b.check(doDiode, place(Terminal{p, p.Pin("E")}), place(Terminal{p, p.Pin("B")}), "0.6 to 0.8 V")
		b.check(doDiode, place(b.end(p.Net("C"), p)), place(Terminal{p, p.Pin("B")}), "0.6 to 0.8 V")
		b.check(doOhms, place(Terminal{p, p.Pin("E")}), place(b.end(p.Net("C"), p)), "more than 1 MΩ")
	case strings.HasPrefix(p.Ref, "R7"):
		// Red at the base: the other way round the transistor's own diode may conduct.
		b.ohms(b.end(p.Pins[1].Net, p), b.end(p.Pins[0].Net, p), p.Ohms, p.TolerancePercent)
	case p.Kind == Resistor:
		b.checkSeries(p)
	default:
		b.checkCapacitor(p)
	}
}

// checkCapacitor asks for eyes: with others in parallel no meter finds one that is
// missing, and one that is shorted shows between the supply and ground.
func (b *builder) checkCapacitor(p *Part) {
	switch {
	case p.Farads >= 1e-6:
		b.check(doLook, p.Ref, "", "its + is at the emitter, its - at ground")
	case p.Position != 0:
		b.check(doLook, p.Ref, "", "from the emitter to ground, 15 mm from the socket's pin at most")
	default:
		b.check(doLook, p.Ref, "", "beside U"+p.Ref[1:]+", from its supply to ground")
	}
}

func (b *builder) checkReference(p *Part) {
	switch p.Kind {
	case Resistor:
		b.checkSeries(p)
	case Capacitor:
		b.checkCapacitor(p)
	}
}

func (b *builder) checkLamps(p *Part) {
	mcu := b.n.Part("A1")
	switch p.Kind {
	case LED:
		b.check(doDiode, place(Terminal{p, p.Pin("A")}), "any ground", "1.6 to 2.2 V, or it glows")
	case Button:
		b.check(doOhms, place(Terminal{mcu, mcu.Pin(lineButton)}), "any ground", "less than 1 Ω pressed, more than 1 MΩ not")
	case Resistor:
		b.checkSeries(p)
	}
}

// powerUp are the readings with the board plugged on and its USB cable in, in the
// order of the risk; the firmware need not be in it yet.
func (b *builder) powerUp() {
	b.stage, b.about = "first power", ""
	b.check(doThen, "", "", "plug the carrier on the microcontroller's board, sockets of the packages and of the chip empty; then the USB cable")
	b.check(doVolts, "A1.5V-1 (+5V)", "any ground", "4.75 to 5.25 V")
	b.check(doVolts, "U51.5 (VIN-)", "any ground", "within 0.02 V of the 5 V")
	for i := range b.n.Parts {
		p := &b.n.Parts[i]
		if p.Group != b.group {
			continue
		}
		b.about = p.Ref
		at := func(name string) string { return place(Terminal{p, p.Pin(name)}) }
		switch p.Kind {
		case Register:
			b.check(doVolts, at("VCC"), at("GND"), "the 5 V")
			b.check(doVolts, at("/OE"), at("GND"), "more than 4.5 V while the board's reset button is held")
			b.check(doVolts, at("/SRCLR"), at("GND"), "the 5 V")
		case Converter:
			b.check(doVolts, at("VDD"), at("DGND"), "the 5 V")
			b.check(doVolts, at("VREF"), at("AGND"), "the 5 V")
			b.check(doVolts, at("/CS"), at("DGND"), "more than 4.5 V while the board's reset button is held")
		case NMOS:
			b.check(doVolts, at("G"), "any ground", "less than 0.05 V")
		case PNP:
			b.check(doVolts, at("B"), "any ground", "within 0.05 V of the 5 V, while the board's reset button is held")
		case Reference:
			b.check(doVolts, at("K"), at("A"), "2.49 to 2.51 V")
		}
	}
	b.about = ""
	b.check(doThen, "", "", "unplug; put the packages into their sockets, notch as drawn; "+b.jumpers())
	b.check(doThen, "", "", "plug in again, flash the firmware with the chip's socket empty (chipassay adapter flash), then: chipassay adapter check --building "+b.group.String())
}

// jumpers says how the links are to stand once the group is in.
func (b *builder) jumpers() string {
	var set []string
	for _, p := range b.n.Fitted(AllGroups()[:b.group+1]...).Parts {
		if p.Kind == Link {
			set = append(set, p.Ref+" joins "+p.Value)
		}
	}
	return "links: " + strings.Join(set, ", ")
}
