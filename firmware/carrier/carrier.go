// Package carrier describes the carrier board of the adapter, revision B: its parts,
// their pins, the nets that join them and the groups in which it is built. The
// schematic, the parts list, the wire list, the board, the SPICE deck and the
// simulated socket are all made from it, so none of them can leave out what another
// shows. It follows the table of "The adapter, revision B" in the
// design; ../README.md has the same table for people.
//
// lanes.go is the table of the 28 socket positions and mcu.go that of the
// microcontroller's lines: check both by eye. netlist.go makes the parts
// from them.
//
// A reference gives function and position: the last two digits of a part that
// belongs to a socket position are that position, so R305 is the bias resistor of
// position 5.
//
//	R1xx drive      R2xx sense          R3xx bias           R4xx load
//	R5xx gate       R6xx base           R7xx base-emitter   R8xx the rest
//	Q1xx low side   Q2xx high side      C1xx 100 nF and C2xx 10 µF at a high side
//	U11, U12 low side   U21-U24 bias   U31-U34 load   U41, U42 converters   U43 reference
//	C11 to C43 at the U of the same number
package carrier

import (
	"fmt"
	"slices"
)

// A Group is what one solders in one go. The Starter alone is an adapter for
// chips of up to 16 pins; the others are added in this order.
type Group int

const (
	Starter    Group = iota // near half: drive, sense, bias, three switches, monitor
	Load                    // load registers and resistors of the near half
	FarHalf                 // drive, bias and (with Load) load of L9-14 and R9-14
	Switches                // the other low-side and high-side switches
	Converters              // 12-bit converters of the far half, which must be there; reference, supply
)

var groupNames = [...]string{"starter", "load", "far", "switches", "converters"}

// String gives the name that the command line takes.
func (g Group) String() string {
	if g < 0 || int(g) >= len(groupNames) {
		return fmt.Sprintf("Group(%d)", int(g))
	}
	return groupNames[g]
}

// AllGroups gives every group, in the order of building.
func AllGroups() []Group { return []Group{Starter, Load, FarHalf, Switches, Converters} }

// A Kind is what sort of part a part is.
type Kind int

const (
	Resistor  Kind = iota
	Capacitor      // polarised if its value is 1 µF or more: pin 1 is +
	NMOS           // enhancement, logic level; the body diode is from source to drain
	PNP
	Register  // 74HC595
	Converter // MCP3208
	Reference // 2.500 V, shunt
	Monitor   // module with the shunt in it
	Fuse      // resettable
	LED
	Button
	Link // three pins and a jumper that joins the middle one to one of the others
	Header
	Socket
	MCU // the microcontroller's board
)

var kindNames = [...]string{"resistor", "capacitor", "n-channel MOSFET", "PNP transistor", "shift register", "converter",
	"reference", "current monitor", "fuse", "LED", "button", "link", "header", "socket", "microcontroller board"}

func (k Kind) String() string {
	if k < 0 || int(k) >= len(kindNames) {
		return fmt.Sprintf("Kind(%d)", int(k))
	}
	return kindNames[k]
}

// A PinType is what a pin does to its net, for the rule check.
type PinType int

const (
	Passive       PinType = iota
	Input                 // needs a level
	Output                // always drives
	TriState              // drives while its enable is on
	Bidirectional         // a line of the microcontroller: firmware decides
	OpenDrain
	PowerIn
	PowerOut // supplies its net
	Unused   // nothing in the package or no use: stays open
)

// A Pin is a terminal of a part and the net that it is on.
type Pin struct {
	Number string // as the package counts, or as the board of the microcontroller labels it
	Name   string
	Net    string // empty: stays open
	Type   PinType
}

// A Part is one thing to buy and solder.
type Part struct {
	Ref              string
	Kind             Kind
	Value            string  // as people write it
	Ohms             float64 // Ω: a resistor; on-resistance of a switch at 5 V, most; the monitor's shunt
	Farads           float64 // F
	TolerancePercent float64
	Rating           string // what it must bear
	Description      string // what a shop understands
	Footprint        string // library:name, as KiCad calls it
	Group            Group
	Needs            Group // a second group without which it is not fitted; Starter: none
	Position         int   // socket position that it belongs to, 1 to 28; 0: none
	Pins             []Pin
}

// Pin gives the pin of a name; nil if there is none.
func (p *Part) Pin(name string) *Pin {
	for i := range p.Pins {
		if p.Pins[i].Name == name {
			return &p.Pins[i]
		}
	}
	return nil
}

// Net gives the net of the pin of a name, empty if it is open or not there.
func (p *Part) Net(name string) string {
	if pin := p.Pin(name); pin != nil {
		return pin.Net
	}
	return ""
}

// A Netlist is the parts of a carrier with what joins them.
type Netlist struct{ Parts []Part }

// A Terminal is one pin of one part.
type Terminal struct {
	Part *Part
	Pin  *Pin
}

func (t Terminal) String() string { return t.Part.Ref + "." + t.Pin.Number }

// Part gives the part of a reference; nil if there is none.
func (n *Netlist) Part(ref string) *Part {
	for i := range n.Parts {
		if n.Parts[i].Ref == ref {
			return &n.Parts[i]
		}
	}
	return nil
}

// Terminals gives the pins on a net, in the order of the parts.
func (n *Netlist) Terminals(net string) []Terminal {
	var found []Terminal
	for i := range n.Parts {
		p := &n.Parts[i]
		for j := range p.Pins {
			if net != "" && p.Pins[j].Net == net {
				found = append(found, Terminal{p, &p.Pins[j]})
			}
		}
	}
	return found
}

// Nets gives the names of all nets, in the order in which the parts use them first.
func (n *Netlist) Nets() []string {
	var nets []string
	seen := map[string]bool{"": true}
	for i := range n.Parts {
		for _, pin := range n.Parts[i].Pins {
			if !seen[pin.Net] {
				seen[pin.Net] = true
				nets = append(nets, pin.Net)
			}
		}
	}
	return nets
}

// Fitted gives the carrier as it is with these groups soldered in; the Starter
// always is. The links stand so that each chain ends at its last register.
func (n *Netlist) Fitted(groups ...Group) *Netlist {
	has := func(g Group) bool { return g == Starter || slices.Contains(groups, g) }
	fitted := &Netlist{}
	for _, p := range n.Parts {
		if !has(p.Group) || !has(p.Needs) {
			continue
		}
		p.Pins = slices.Clone(p.Pins)
		if p.Kind == Link {
			p.Value = linkShort
			if has(linkGroups[p.Ref]) {
				p.Value = linkLong
			}
		}
		fitted.Parts = append(fitted.Parts, p)
	}
	return fitted
}

// Clone gives a copy that may be changed without changing n.
func (n *Netlist) Clone() *Netlist {
	c := &Netlist{Parts: slices.Clone(n.Parts)}
	for i := range c.Parts {
		c.Parts[i].Pins = slices.Clone(c.Parts[i].Pins)
	}
	return c
}
