package selfcheck

import (
	"fmt"
	"strings"

	"chipassay/firmware/carrier"
	"chipassay/host/adapter"
)

// A Defect is one thing that can be wrong with a carrier as it was built.
type Defect struct {
	kind       defectKind
	Ref        string  // part; empty for a short between nets
	Pin        string  // number of the open pin
	NetA, NetB string  // that touch
	Ohms       float64 // what a resistor of the wrong value has
}

type defectKind int

const (
	pinOpen defectKind = iota
	missing
	turned // a three-legged part, the outer legs exchanged
	wrongValue
	shorted
)

// String gives the defect as --board-defect takes it.
func (d Defect) String() string {
	switch d.kind {
	case pinOpen:
		return fmt.Sprintf("%s pin %s open", d.Ref, d.Pin)
	case missing:
		return d.Ref + " missing"
	case turned:
		return d.Ref + " turned"
	case wrongValue:
		return fmt.Sprintf("%s %g ohms", d.Ref, d.Ohms)
	}
	return d.NetA + " shorted to " + d.NetB
}

// Defects gives every single defect of a netlist that one makes while soldering:
// each pin open, each part missing, each resistor of ten times or a tenth of its
// value, each transistor turned, and solder between pins side by side. Solder that
// joins the supplies is not among them: the computer switches its port off.
func Defects(n *carrier.Netlist) []Defect {
	var found []Defect
	seen := map[[2]string]bool{}
	short := func(a, b string) {
		if a > b {
			a, b = b, a
		}
		if a == "" || a == b || fatal(a, b) || seen[[2]string{a, b}] {
			return
		}
		seen[[2]string{a, b}] = true
		found = append(found, Defect{kind: shorted, NetA: a, NetB: b})
	}
	for i := range n.Parts {
		p := &n.Parts[i]
		switch p.Kind {
		case carrier.Resistor:
			found = append(found, Defect{kind: missing, Ref: p.Ref},
				Defect{kind: wrongValue, Ref: p.Ref, Ohms: 10 * p.Ohms}, Defect{kind: wrongValue, Ref: p.Ref, Ohms: p.Ohms / 10})
			short(p.Pins[0].Net, p.Pins[1].Net)
			continue
		case carrier.Header: // its nets are those of the socket
			continue
		case carrier.MCU, carrier.Socket:
		default:
			found = append(found, Defect{kind: missing, Ref: p.Ref})
		}
		for j, pin := range p.Pins {
			if pin.Net != "" && len(p.Pins) > 2 && p.Kind != carrier.Socket && !(p.Kind == carrier.MCU && isSupply(pin.Net)) {
				found = append(found, Defect{kind: pinOpen, Ref: p.Ref, Pin: pin.Number})
			}
			if j > 0 && !(p.Kind == carrier.Socket && j == len(p.Pins)/2) {
				short(p.Pins[j-1].Net, pin.Net)
			}
		}
		if p.Kind == carrier.NMOS || p.Kind == carrier.PNP {
			found = append(found, Defect{kind: turned, Ref: p.Ref})
		}
	}
	return found
}

// fatal reports whether two nets that touch short the computer's supply.
func fatal(a, b string) bool {
	return isSupply(a) && isSupply(b) && (a == "GND" || b == "GND")
}

func isSupply(net string) bool {
	return net == "+5V" || net == "GND" || net == "FUSED" || net == "SUPPLY"
}

// isControl reports whether a net is one of the lines that all positions have in common.
func isControl(net string) bool {
	switch net {
	case "PC6", "PC7", "PD0", "PD1", "PD2", "PD3", "PD7", "PG0", "PG1", "PG2", "PG5", "PB6", "PJ0", "PJ1", "REF2V5":
		return true
	}
	return strings.Contains(net, "chain")
}

// isPosition reports whether a net is that of a socket position.
func isPosition(net string) bool {
	_, is := adapter.AtColumn(net)
	return is
}

// joined reports whether a closed link or a resistor for reading back joins two nets
// anyway, so that solder between them changes nothing.
func joined(n *carrier.Netlist, a, b string) bool {
	for _, t := range n.Terminals(a) {
		closed := t.Part.Kind == carrier.Resistor || t.Part.Kind == carrier.Link && (t.Pin.Name == "end" || otherEnd(carrier.Terminal{Part: t.Part, Pin: t.Part.Pin("end")}) == a)
		if closed && (otherEnd(t) == b || t.Part.Kind == carrier.Link && t.Part.Net("end") == b) {
			return true
		}
	}
	return false
}

// rank orders nets by which of two that touch gives its name to both.
func rank(net string) int {
	switch {
	case net == "+5V" || net == "GND":
		return 3
	case isSupply(net):
		return 2
	case isControl(net):
		return 1
	}
	return 0
}

// apply does the defect to a netlist, which must be a copy of its own.
func (d Defect) apply(n *carrier.Netlist) {
	if d.kind == shorted {
		from, to := d.NetA, d.NetB
		switch {
		case rank(from) > rank(to) || rank(from) == rank(to) && isPosition(from):
			to = from
		case rank(from) == 1 && rank(to) == 1:
			if joined(n, from, to) {
				return
			}
			to = from + " and " + to // neither does what it should
		}
		for i := range n.Parts {
			for j := range n.Parts[i].Pins {
				if pin := &n.Parts[i].Pins[j]; pin.Net == d.NetA || pin.Net == d.NetB {
					pin.Net = to
				}
			}
		}
		return
	}
	for i := range n.Parts {
		p := &n.Parts[i]
		if p.Ref != d.Ref {
			continue
		}
		switch d.kind {
		case pinOpen:
			for j := range p.Pins {
				if p.Pins[j].Number == d.Pin {
					p.Pins[j].Net = "open " + d.Ref + "." + d.Pin
				}
			}
		case missing:
			n.Parts = append(n.Parts[:i], n.Parts[i+1:]...)
		case turned:
			p.Pins[0].Net, p.Pins[2].Net = p.Pins[2].Net, p.Pins[0].Net
		case wrongValue:
			p.Ohms = d.Ohms
		}
		return
	}
}

// nets gives the nets that the defect has to do with.
func (d Defect) nets(n *carrier.Netlist) []string {
	if d.kind == shorted {
		return []string{d.NetA, d.NetB}
	}
	p := n.Part(d.Ref)
	if p == nil {
		return nil
	}
	var nets []string
	for _, pin := range p.Pins {
		transistor := p.Kind == carrier.NMOS || p.Kind == carrier.PNP
		if pin.Net != "" && (d.kind != pinOpen || pin.Number == d.Pin || transistor) {
			nets = append(nets, pin.Net)
		}
	}
	return nets
}
