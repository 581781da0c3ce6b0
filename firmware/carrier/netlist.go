package carrier

import (
	"fmt"
	"strings"
)

// What every sheet, list and deck calls the supplies.
const (
	netRail   = "+5V"    // of the microcontroller's board
	netFused  = "FUSED"  // after the fuse
	netSupply = "SUPPLY" // behind the shunt: the emitters of the high side
	netGround = "GND"
)

// Where a link joins its middle pin.
const (
	linkShort = "1-2" // the chain ends at its first registers
	linkLong  = "2-3" // it ends at those of the group that came later
)

// linkGroups are the groups that make a chain longer.
var linkGroups = map[string]Group{"JP1": Switches, "JP2": FarHalf, "JP3": FarHalf}

// New gives the whole adapter.
func New() *Netlist {
	n := &Netlist{}
	n.add(mcu(), zifSocket(), sideHeader("X2", true), sideHeader("X3", false))
	for _, l := range lanes {
		n.add(resistor("R1", l, drive, l.Drive, l.Name))
	}
	for _, l := range lanes {
		n.add(resistor("R2", l, sense, l.Name, l.SenseNet()))
	}
	for _, l := range lanes {
		n.add(resistor("R3", l, bias, l.BiasNet(), l.Name))
	}
	for _, l := range lanes {
		n.add(resistor("R4", l, load, l.LoadNet(), l.Name))
	}
	n.addRegisters()
	for _, l := range lanes {
		n.addLowSide(l)
	}
	for _, l := range lanes {
		n.addHighSide(l)
	}
	n.addSupply()
	n.addConverters()
	n.addOperator()
	return n
}

func (n *Netlist) add(parts ...Part) { n.Parts = append(n.Parts, parts...) }

// resistance is a sort of resistor.
type resistance struct {
	value       string
	ohms        float64
	tolerance   float64 // %
	description string
}

const quarterWatt = "0.25 W"

var (
	drive = resistance{"120 Ω", 120, 1, "drive"} // a hard short at 5.25 V: 38 mA
	sense = resistance{"4.7 kΩ", 4700, 5, "sense"}
	bias  = resistance{"10 kΩ", 10e3, 5, "bias"}
	load  = resistance{"1 kΩ", 1e3, 5, "load"}

	gateDown = resistance{"10 kΩ", 10e3, 5, "gate to ground"}
	base     = resistance{"2.2 kΩ", 2200, 5, "base"}
	baseUp   = resistance{"10 kΩ", 10e3, 5, "base to emitter"}
	pullUp   = resistance{"10 kΩ", 10e3, 5, "pull-up"}
	lamp     = resistance{"1 kΩ", 1e3, 5, "lamp"}
	readBack = resistance{"4.7 kΩ", 4700, 5, "read-back"}
	shunted  = resistance{"2.2 kΩ", 2200, 5, "current of the reference"} // 1.1 mA
)

// plainResistor is a resistor between two nets.
func plainResistor(ref string, o resistance, g Group, a, b string) Part {
	return Part{
		Ref: ref, Kind: Resistor, Value: o.value, Ohms: o.ohms, TolerancePercent: o.tolerance, Rating: quarterWatt, Group: g,
		Description: fmt.Sprintf("resistor, metal film, %s, %g %%, %s", o.value, o.tolerance, quarterWatt),
		Footprint:   "Resistor_THT:R_Axial_DIN0207_L6.3mm_D2.5mm_P7.62mm_Horizontal",
		Pins:        []Pin{{"1", "1", a, Passive}, {"2", "2", b, Passive}},
	}
}

// resistor is one of the four at a socket position.
func resistor(prefix string, l Lane, o resistance, a, b string) Part {
	p := plainResistor(fmt.Sprintf("%s%02d", prefix, l.Position), o, l.half(), a, b)
	p.Position = l.Position
	switch prefix {
	case "R2":
		if !l.Near() {
			p.Group = Converters
		}
	case "R4":
		if p.Group == Starter {
			p.Group = Load
		} else {
			p.Needs = Load
		}
	}
	return p
}

func capacitor(ref, value string, farads float64, g Group, plus, minus string) Part {
	p := Part{
		Ref: ref, Kind: Capacitor, Value: value, Farads: farads, TolerancePercent: 20, Group: g,
		Rating: "50 V", Description: "capacitor, ceramic X7R, " + value + ", 50 V, 5 mm pitch",
		Footprint: "Capacitor_THT:C_Disc_D5.0mm_W2.5mm_P5.00mm",
		Pins:      []Pin{{"1", "1", plus, Passive}, {"2", "2", minus, Passive}},
	}
	if farads >= 1e-6 {
		p.Rating, p.Description = "16 V", "capacitor, electrolytic or tantalum, "+value+", 16 V or more, radial"
		p.Footprint = "Capacitor_THT:CP_Radial_D5.0mm_P2.50mm"
		p.Pins[0].Name, p.Pins[1].Name = "+", "-"
	}
	return p
}

// decoupling is 100 nF from a supply to ground.
func decoupling(ref string, g Group, supply string) Part {
	return capacitor(ref, "100 nF", 100e-9, g, supply, netGround)
}

// socket positions 1 to 14 down the left, 15 to 28 up the right.
func zifSocket() Part {
	p := Part{
		Ref: "X1", Kind: Socket, Value: "ZIF 28", Footprint: "carrier:ZIF_28_W7.62_W15.24mm",
		Description: "zero insertion force socket, 28 positions, for 0.3 and 0.6 inch wide DIP", Rating: "1 A a contact",
	}
	for position := 1; position <= 28; position++ {
		name := LaneAt(position).Name
		p.Pins = append(p.Pins, Pin{fmt.Sprint(position), name, name, Passive})
	}
	return p
}

// sideHeader has a column's positions, first row first, and ground at its end.
func sideHeader(ref string, left bool) Part {
	p := Part{
		Ref: ref, Kind: Header, Value: "1 x 15", Footprint: "Connector_PinHeader_2.54mm:PinHeader_1x15_P2.54mm_Vertical",
		Description: "pin header, 1 x 15, 2.54 mm pitch", Rating: "1 A a contact",
	}
	for _, l := range lanes {
		if l.Left() == left {
			p.Pins = append(p.Pins, Pin{fmt.Sprint(len(p.Pins) + 1), l.Name, l.Name, Passive})
		}
	}
	p.Pins = append(p.Pins, Pin{"15", "GND", netGround, Passive})
	return p
}

// outputs are those of a register, first bit first.
var outputs = strings.Fields("QA QB QC QD QE QF QG QH")

// register is a 74HC595 with its serial input and output, its group's strobe and
// enable, and the nets of its outputs by pin name; the others stay open.
func register(ref string, g, needs Group, in, out, store, enable string, nets map[string]string) Part {
	q := func(name string) string { return nets[name] }
	return Part{
		Ref: ref, Kind: Register, Value: "74HC595", Group: g, Needs: needs, Rating: "35 mA an output, 70 mA a supply pin",
		Description: "74HC595, 8-bit shift register with output latch, DIP-16",
		Footprint:   "Package_DIP:DIP-16_W7.62mm_Socket",
		Pins: []Pin{
			{"1", "QB", q("QB"), TriState},
			{"2", "QC", q("QC"), TriState},
			{"3", "QD", q("QD"), TriState},
			{"4", "QE", q("QE"), TriState},
			{"5", "QF", q("QF"), TriState},
			{"6", "QG", q("QG"), TriState},
			{"7", "QH", q("QH"), TriState},
			{"8", "GND", netGround, PowerIn},
			{"9", "QH'", out, Output},
			{"10", "/SRCLR", netRail, Input}, // zeros are shifted in instead: a clear would leave the outputs as stored
			{"11", "SRCLK", lineClock, Input},
			{"12", "RCLK", store, Input},
			{"13", "/OE", enable, Input},
			{"14", "SER", in, Input},
			{"15", "QA", q("QA"), TriState},
			{"16", "VCC", netRail, PowerIn},
		},
	}
}

// taps gives the nets of a register's outputs: of each lane whose entry in the
// table names it.
func taps(ref string, entry func(Lane) (at, net string)) map[string]string {
	nets := map[string]string{}
	for _, l := range lanes {
		at, net := entry(l)
		if name, found := strings.CutPrefix(at, ref+" "); found {
			nets[name] = net
		}
	}
	return nets
}

// addRegisters adds the three chains. All begin at the data line; each ends at a
// link, and goes on to the registers that come with another group.
func (n *Netlist) addRegisters() {
	low := func(l Lane) (string, string) { return l.Low, l.GateNet() }
	biases := func(l Lane) (string, string) { return l.Bias, l.BiasNet() }
	loads := func(l Lane) (string, string) { return l.Load, l.LoadNet() }
	for _, r := range []struct {
		ref           string
		group, needs  Group
		in, out       string
		store, enable string
		entry         func(Lane) (string, string)
	}{
		{"U11", Starter, Starter, lineData, "low_chain_1", lineStoreLow, lineEnableLow, low},
		{"U12", Switches, Starter, "low_chain_1", "low_chain_2", lineStoreLow, lineEnableLow, low},
		{"U21", Starter, Starter, lineData, "bias_chain_1", lineStoreBias, lineEnableBias, biases},
		{"U22", Starter, Starter, "bias_chain_1", "bias_chain_2", lineStoreBias, lineEnableBias, biases},
		{"U23", FarHalf, Starter, "bias_chain_2", "bias_chain_3", lineStoreBias, lineEnableBias, biases},
		{"U24", FarHalf, Starter, "bias_chain_3", "bias_chain_4", lineStoreBias, lineEnableBias, biases},
		{"U31", Load, Starter, lineData, "load_chain_1", lineStoreLoad, lineEnableLoad, loads},
		{"U32", Load, Starter, "load_chain_1", "load_chain_2", lineStoreLoad, lineEnableLoad, loads},
		{"U33", FarHalf, Load, "load_chain_2", "load_chain_3", lineStoreLoad, lineEnableLoad, loads},
		{"U34", FarHalf, Load, "load_chain_3", "load_chain_4", lineStoreLoad, lineEnableLoad, loads},
	} {
		n.add(register(r.ref, r.group, r.needs, r.in, r.out, r.store, r.enable, taps(r.ref, r.entry)))
		c := decoupling("C"+r.ref[1:], r.group, netRail)
		c.Needs = r.needs
		n.add(c)
	}
	n.add(
		link("JP1", Starter, "low_chain_1", lineBackLow, "low_chain_2"),
		link("JP2", Starter, "bias_chain_2", "bias_chain_end", "bias_chain_4"),
		link("JP3", Load, "load_chain_2", "load_chain_end", "load_chain_4"),
		plainResistor("R821", readBack, Starter, "bias_chain_end", lineBackBias),
		plainResistor("R822", readBack, Load, "load_chain_end", lineBackLoad),
		plainResistor("R811", pullUp, Starter, netRail, lineEnableLow),
		plainResistor("R812", pullUp, Starter, netRail, lineEnableBias),
		plainResistor("R813", pullUp, Load, netRail, lineEnableLoad),
	)
}

func link(ref string, g Group, short, middle, long string) Part {
	return Part{
		Ref: ref, Kind: Link, Value: linkLong, Group: g, Footprint: "Connector_PinHeader_2.54mm:PinHeader_1x03_P2.54mm_Vertical",
		Description: "pin header, 1 x 3, 2.54 mm pitch, with a jumper", Rating: "1 A a contact",
		Pins: []Pin{{"1", "short", short, Passive}, {"2", "end", middle, Passive}, {"3", "long", long, Passive}},
	}
}
