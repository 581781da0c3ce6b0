package carrier

import (
	"fmt"
	"io"
	"slices"
	"strings"
)

// spiceNode names a net as SPICE may call it.
func spiceNode(net string) string {
	switch net {
	case netGround:
		return "0"
	case netRail:
		return "rail"
	case "":
		return "open"
	}
	return net
}

// SpiceNodes gives the nets that are nodes of the subcircuit carrier, in its
// order: positions 1 to 28; the microcontroller's lines that a resistor hangs on, by
// name; the register outputs that do, chain by chain; the converters' inputs;
// reference, supply behind the shunt, rail. It is the same whatever is fitted.
func SpiceNodes() []string {
	whole := New()
	var nodes []string
	for p := 1; p <= 28; p++ {
		nodes = append(nodes, LaneAt(p).Name)
	}
	var lines, registers, inputs []string
	for _, net := range whole.Nets() {
		ends := whole.Terminals(net)
		if !slices.ContainsFunc(ends, analogue) {
			continue
		}
		for _, end := range ends {
			switch {
			case end.Part.Kind == MCU && end.Pin.Type == Bidirectional:
				lines = append(lines, net)
			case end.Part.Kind == Converter && strings.HasPrefix(net, "sense_"):
				inputs = append(inputs, net)
			}
		}
	}
	slices.Sort(lines)
	for i := range whole.Parts {
		if p := &whole.Parts[i]; p.Kind == Register {
			for _, name := range append(slices.Clone(outputs), "QH'") {
				net := p.Net(name)
				if slices.ContainsFunc(whole.Terminals(net), analogue) {
					registers = append(registers, net)
				}
			}
		}
	}
	nodes = append(append(append(nodes, lines...), registers...), inputs...)
	return append(nodes, netReference, netSupply, netRail)
}

// analogue reports whether the terminal is in the subcircuit: an end of a part that
// is not digital.
func analogue(t Terminal) bool {
	switch t.Part.Kind {
	case Resistor, Capacitor, NMOS, PNP, Reference, Fuse, LED, Link:
		return true
	case Monitor:
		return strings.HasPrefix(t.Pin.Name, "VIN")
	}
	return false
}

// WriteSpice writes the subcircuit carrier, and beside it those of what drives it.
func (n *Netlist) WriteSpice(w io.Writer) error {
	var b strings.Builder
	b.WriteString(spiceHead)
	b.WriteString("*\n* Nodes of carrier, in this order:\n")
	nodes := SpiceNodes()
	for i, net := range nodes {
		nodes[i] = spiceNode(net)
	}
	folded(&b, "*   ", "*   ", nodes)
	b.WriteString("\n")
	folded(&b, ".subckt carrier ", "+ ", append(nodes, "params: tol=0 corner=0 strays=20p"))
	for i := range n.Parts {
		b.WriteString(element(&n.Parts[i]))
	}
	b.WriteString("* socket contact, wire and header of each position\n")
	for p := 1; p <= 28; p++ {
		fmt.Fprintf(&b, "Cstray%[1]d %[2]s 0 {strays}\nRstray%[1]d %[2]s 0 10g\n", p, LaneAt(p).Name)
	}
	b.WriteString(spiceModels)
	b.WriteString(".ends carrier\n")
	b.WriteString(spiceDrivers)
	_, err := io.WriteString(w, b.String())
	return err
}

// folded writes words in lines of some 100 characters.
func folded(b *strings.Builder, first, next string, words []string) {
	line := first
	for _, word := range words {
		if len(line)+len(word) > 100 {
			fmt.Fprintln(b, strings.TrimRight(line, " "))
			line = next
		}
		line += word + " "
	}
	fmt.Fprintln(b, strings.TrimRight(line, " "))
}

// element is a part's line of the subcircuit; none for what is digital or only metal.
func element(p *Part) string {
	at := func(names ...string) string {
		for i, name := range names {
			names[i] = spiceNode(p.Net(name))
		}
		return strings.Join(names, " ")
	}
	switch p.Kind {
	case Resistor:
		return fmt.Sprintf("%s %s {%g*(1+%g*tol)}\n", p.Ref, at("1", "2"), p.Ohms, p.TolerancePercent/100)
	case Capacitor:
		return fmt.Sprintf("%s %s %s %g\n", p.Ref, spiceNode(p.Pins[0].Net), spiceNode(p.Pins[1].Net), p.Farads)
	case NMOS:
		return fmt.Sprintf("M%s %s nmos_switch\n", p.Ref, at("D", "G", "S", "S"))
	case PNP:
		return fmt.Sprintf("%s %s pnp_switch\n", p.Ref, at("C", "B", "E"))
	case LED:
		return fmt.Sprintf("%s %s led\n", p.Ref, at("A", "K"))
	case Reference:
		return fmt.Sprintf("D%s %s shunt_reference\n", p.Ref, at("A", "K"))
	case Fuse:
		return fmt.Sprintf("R%s %s %g\n", p.Ref, at("1", "2"), p.Ohms)
	case Monitor:
		return fmt.Sprintf("R%s %s %g\n", p.Ref, at("VIN+", "VIN-"), p.Ohms)
	case Link:
		if p.Value == linkShort {
			return fmt.Sprintf("R%s %s 10m\n", p.Ref, at("short", "end"))
		}
		return fmt.Sprintf("R%s %s 10m\n", p.Ref, at("long", "end"))
	}
	return ""
}

// An Operating is the conditions of a deck.
type Operating struct {
	USB       float64 // V of the port, before the cable and the microcontroller's board
	Rail      float64 // V of a stiff rail instead of a port; 0: a port
	Corner    int     // -1 weak, 0 typical, 1 strong: outputs, switches
	Tolerance float64 // of the resistors: -1 lowest, 1 highest, as a share of what they may be off
}

// WriteDeck writes what stands round a chip in the socket: the subcircuits, the
// carrier, and all that drives it in the given state. A chip's model and the
// analysis go below it; its pins are the nodes L1 … L14 and R1 … R14, ground is 0.
// The node read_PF4 is what the microcontroller reads at that line, as a share: 0, 1,
// or 0.5 where it may read either.
func (n *Netlist) WriteDeck(w io.Writer, s State, o Operating) error {
	if _, err := io.WriteString(w, "* the adapter with its socket\n"); err != nil {
		return err
	}
	if err := n.WriteSpice(w); err != nil {
		return err
	}
	return writeRound(w, s, o)
}

// writeRound writes the instance of carrier and all that drives it.
func writeRound(w io.Writer, s State, o Operating) error {
	var b strings.Builder
	nodes := SpiceNodes()
	words := []string{}
	for _, net := range nodes {
		words = append(words, spiceNode(net))
	}
	folded(&b, "Xcarrier ", "+ ", append(words, fmt.Sprintf("carrier tol=%g corner=%d", o.Tolerance, o.Corner)))
	if o.Rail > 0 {
		fmt.Fprintf(&b, "Vrail rail 0 %g\n", o.Rail)
	} else {
		fmt.Fprintf(&b, "Xusb rail usb volts=%g\n", o.USB)
	}
	levels := s.Outputs()
	for _, net := range nodes[28 : len(nodes)-3] {
		on, high := 0, 0
		if levels[net] != Released {
			on = 1
		}
		if levels[net] == HighLevel {
			high = 1
		}
		switch kindOfNode(net) {
		case MCU:
			fmt.Fprintf(&b, "Xpin_%[1]s %[1]s rail 0 drive_%[1]s level_%[1]s read_%[1]s mcu_pin corner=%[2]d\n", net, o.Corner)
		case Register:
			if strings.Contains(net, "chain") {
				on, high = 1, 0 // a serial output has no enable
			}
			fmt.Fprintf(&b, "Xq_%[1]s %[1]s rail 0 drive_%[1]s level_%[1]s hc595_q corner=%[2]d\n", net, o.Corner)
		default:
			fmt.Fprintf(&b, "Xin_%[1]s %[1]s rail 0 converter_in\n", net)
			continue
		}
		fmt.Fprintf(&b, "Vdrive_%[1]s drive_%[1]s 0 %[2]d\nVlevel_%[1]s level_%[1]s 0 %[3]d\n", net, on, high)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// WriteExample writes a deck that includes carrier.cir and runs as it is: the
// first inverter of an unbuffered CMOS hex inverter in the socket.
func WriteExample(w io.Writer) error {
	if _, err := io.WriteString(w, "* a CMOS inverter in the adapter: supply at position 28, ground at 7, input 1, output 2\n.include carrier.cir\n"); err != nil {
		return err
	}
	s := State{High: Word(28), Low: Word(7), Driven: Word(1), Level: Word(1), BiasOn: true, BiasUp: Word(2)}
	if err := writeRound(w, s, Operating{USB: 5}); err != nil {
		return err
	}
	_, err := io.WriteString(w, exampleChip)
	return err
}

// kindOfNode distinguishes lines of the microcontroller and register outputs from the rest.
func kindOfNode(net string) Kind {
	switch {
	case len(net) == 3 && net[0] == 'P':
		return MCU
	case strings.HasPrefix(net, "bias_"), strings.HasPrefix(net, "load_"), strings.HasPrefix(net, "gate_"), strings.HasPrefix(net, "low_"):
		return Register
	}
	return Converter
}
