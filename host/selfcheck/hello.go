package selfcheck

import (
	"chipassay/firmware/carrier"
	"chipassay/host/adapter"
)

// A fitted is what an adapter finds of itself when it starts.
type fitted struct {
	low                 bool // the chain of the low-side switches gives back what is shifted in
	bias, load          int  // outputs of the chains
	converter           [2]bool
	monitor             bool
	highFound, lowFound adapter.Word
}

// A chain is a row of registers, with what leads into it and out of it.
type chain struct {
	name   string
	parts  []string // registers first, in the order in which the data pass, then link and read-back
	store  string
	enable string
	back   string
}

// chains walks the three chains of a netlist: low side, bias, load.
func chains(n *carrier.Netlist) []chain {
	named := map[string]string{"PJ1": "low-side", "PD2": "bias", "PD3": "load"}
	var found []chain
	for _, back := range []string{"PJ1", "PD2", "PD3"} {
		c := chain{name: named[back], back: back}
		ends, at := []string{back}, back
		for range 4 { // back through the read-back's resistor and the link to the last register
			for _, t := range n.Terminals(at) {
				if t.Part.Kind == carrier.Resistor || t.Part.Kind == carrier.Link && t.Pin.Name == "end" {
					c.parts = append(c.parts, t.Part.Ref)
					at = otherEnd(t)
					ends = append(ends, at)
					break
				}
			}
		}
		for last := output(n, at); last != nil; last = output(n, last.Net("SER")) {
			c.parts = append([]string{last.Ref}, c.parts...)
			c.store, c.enable = last.Net("RCLK"), last.Net("/OE")
		}
		if c.store != "" {
			found = append(found, c)
		}
	}
	return found
}

// otherEnd is where a resistor, or a link as it stands, leads.
func otherEnd(t carrier.Terminal) string {
	if t.Part.Kind == carrier.Link {
		if t.Part.Value == "1-2" {
			return t.Part.Net("short")
		}
		return t.Part.Net("long")
	}
	if t.Part.Pins[0].Net == t.Pin.Net {
		return t.Part.Pins[1].Net
	}
	return t.Part.Pins[0].Net
}

// output is the register whose serial output is on a net.
func output(n *carrier.Netlist, net string) *carrier.Part {
	for _, t := range n.Terminals(net) {
		if t.Part.Kind == carrier.Register && t.Pin.Name == "QH'" {
			return t.Part
		}
	}
	return nil
}

// serial are the pins without which a register does not pass on what is shifted in.
var serial = []string{"SER", "QH'", "SRCLK", "/SRCLR", "VCC", "GND"}

// sameNets reports whether a part is there, with its pins of these names (all of them,
// where none are given) on the nets where they should be.
func sameNets(n, good *carrier.Netlist, ref string, names ...string) bool {
	p, want := n.Part(ref), good.Part(ref)
	if p == nil || want == nil {
		return p == want
	}
	if len(names) == 0 {
		for _, pin := range want.Pins {
			names = append(names, pin.Name)
		}
	}
	for _, name := range names {
		if p.Net(name) != want.Net(name) {
			return false
		}
	}
	return true
}

// outputs gives how many outputs a chain of n has, 0 where nothing comes through.
func (c *chain) outputs(n, good *carrier.Netlist) int {
	registers := 0
	for _, ref := range c.parts {
		p := good.Part(ref)
		names := serial
		switch p.Kind {
		case carrier.Register:
			registers++
		case carrier.Link:
			if names = []string{"end", "long"}; p.Value == "1-2" {
				names = []string{"end", "short"}
			}
		default:
			names = nil
		}
		if !sameNets(n, good, ref, names...) {
			return 0
		}
	}
	if !sameNets(n, good, "A1", "PC6", "PC7", c.back) {
		return 0
	}
	return 8 * registers
}

// works reports whether a register stores and shows what was shifted into it.
func works(p *carrier.Part, good *carrier.Netlist) bool {
	want := good.Part(p.Ref)
	for _, name := range []string{"RCLK", "/OE", "VCC", "GND"} {
		if p.Net(name) != want.Net(name) {
			return false
		}
	}
	return true
}

// strobed reports whether the microcontroller's strobe and enable of a register are on their nets.
func strobed(n, good *carrier.Netlist, ref string) bool {
	p := good.Part(ref)
	return sameNets(n, good, "A1", p.Net("RCLK"), p.Net("/OE"))
}

// fittedOf predicts what an adapter of this netlist finds, but for its switches; good
// is the same without a defect.
func fittedOf(n, good *carrier.Netlist) fitted {
	var f fitted
	for _, c := range chains(good) {
		outputs := c.outputs(n, good)
		switch c.name {
		case "low-side":
			f.low = outputs != 0
		case "bias":
			f.bias = outputs
		case "load":
			f.load = outputs
		}
	}
	for i, ref := range []string{"U41", "U42"} {
		f.converter[i] = good.Part(ref) != nil && f.bias != 0 &&
			sameNets(n, good, ref, "/CS", "DIN", "DOUT", "CLK", "VDD", "DGND") && sameNets(n, good, "A1", "PJ0", "PC6", "PC7", good.Part(ref).Net("DOUT"))
	}
	f.monitor = good.Part("U51") != nil && sameNets(n, good, "U51", "VCC", "GND", "SCL", "SDA") && sameNets(n, good, "A1", "PD0", "PD1")
	return f
}

// foundBy is what an adapter says it found.
func foundBy(c *adapter.Capabilities) fitted {
	f := fitted{monitor: c.Monitor, low: c.SupplyLow != 0, highFound: c.SupplyHigh, lowFound: c.SupplyLow}
	for _, of := range []struct {
		word    adapter.Word
		outputs *int
	}{{c.Bias, &f.bias}, {c.Load, &f.load}} {
		switch {
		case of.word == 0:
		case of.word&adapter.At(9) == 0:
			*of.outputs = 16
		case of.word&adapter.At(20) == 0:
			*of.outputs = 24
		default:
			*of.outputs = 32
		}
	}
	f.converter = [2]bool{c.Far.Has(9), c.Far.Has(20)}
	return f
}
