package carrier

import (
	"fmt"
	"slices"
	"strings"
)

// chainOrders are the outputs of the three chains as the firmware counts them, by
// the position that each serves; "-" is open. A carrier has a chain as far as its
// groups go.
var chainOrders = []struct {
	store, enable, prefix string
	back                  string // where its end is read
	order                 string
}{
	{"PD7", "PB6", "gate_", "PJ1", "L1 L4 L7 L8 R8 R5 R4 R1  L9 L10 L11 L12 L14 - - -"},
	{"PG0", "PG2", "bias_", "PD2", "L1 L2 L3 L4 L5 L6 L7 L8  R1 R2 R3 R4 R5 R6 R7 R8  L9 L10 L11 L12 L13 L14 - -  R9 R10 R11 R12 R13 R14 - -"},
	{"PG1", "PG5", "load_", "PD3", "L1 L2 L3 L4 L5 L6 L7 L8  R1 R2 R3 R4 R5 R6 R7 R8  L9 L10 L11 L12 L13 L14 - -  R9 R10 R11 R12 R13 R14 - -"},
}

// registers gives how many registers the chain is to have.
func (c *check) registers(prefix string) int {
	switch {
	case prefix == "gate_" && c.has(Switches):
		return 2
	case prefix == "gate_":
		return 1
	case prefix == "load_" && !c.has(Load):
		return 0
	case c.has(FarHalf):
		return 4
	}
	return 2
}

// chains follows each chain from the data line to where it is read back.
func (c *check) chains() {
	counted := 0
	for _, chain := range chainOrders {
		want := c.registers(chain.prefix)
		counted += want
		if want == 0 {
			continue
		}
		order, serial := strings.Fields(chain.order), "PC6"
		for i := range want {
			r := c.next(serial, chain.store)
			if r == nil {
				c.fail("chain", chain.prefix, "no register stored by %s follows %s", chain.store, serial)
				return
			}
			if got := r.Net("/OE"); got != chain.enable {
				c.fail("chain", r.Ref, "enabled by %q, not by %s", got, chain.enable)
			}
			for j, name := range strings.Fields("QA QB QC QD QE QF QG QH") {
				net := chain.prefix + order[8*i+j]
				if order[8*i+j] == "-" {
					net = ""
				}
				if got := r.Net(name); got != net {
					c.fail("chain", r.Ref, "%s is on %q, not on %q", name, got, net)
				}
			}
			serial = r.Net("QH'")
		}
		if !c.component([]string{serial}, false)[chain.back] {
			c.fail("chain", serial, "the end of the chain does not reach %s", chain.back)
		}
		if chain.prefix != "gate_" {
			c.between(chain.back, func(net string) bool { return net != netRail }, 4700, 5, "read-back of "+chain.prefix)
		}
	}
	for _, p := range c.n.Parts {
		if p.Kind == Register {
			counted--
		}
	}
	if counted != 0 {
		c.fail("chain", "registers", "%d outside of the chains", -counted)
	}
}

// next gives the register of a chain whose serial input is on the net.
func (c *check) next(net, store string) *Part {
	var found *Part
	for _, end := range c.at[net] {
		if end.Part.Kind == Register && end.Pin.Name == "SER" && end.Part.Net("RCLK") == store {
			if found != nil {
				c.fail("chain", end.Part.Ref, "and %s begin at the same net", found.Ref)
			}
			found = end.Part
		}
	}
	return found
}

// between looks for exactly one resistor from a net to one that suits, with its
// value and tolerance, and gives the net there.
func (c *check) between(net string, suits func(string) bool, ohms, tolerance float64, what string) string {
	var found []string
	for _, end := range c.at[net] {
		if end.Part.Kind != Resistor {
			continue
		}
		other := beyond(end, false)[0]
		if !suits(other) {
			continue
		}
		found = append(found, other)
		if end.Part.Ohms != ohms || end.Part.TolerancePercent > tolerance {
			c.fail("value", end.Part.Ref, "%g Ω %g %%, want %g Ω %g %%: %s", end.Part.Ohms, end.Part.TolerancePercent, ohms, tolerance, what)
		}
	}
	if len(found) != 1 {
		c.fail("position", net, "%d resistors, want one: %s", len(found), what)
		return ""
	}
	return found[0]
}

// is reports whether a net is the one given.
func is(want string) func(string) bool { return func(net string) bool { return net == want } }

// ports are the drive and sense lines of the design's table: port and first row.
var ports = []struct {
	column     string
	first, row int // rows of the column, first to last
	drive      string
	sense      string // empty: a converter's input
	converter  string
}{
	{"L", 1, 8, "PA", "PF", ""},
	{"L", 9, 14, "PC", "", "PD2"},
	{"R", 1, 8, "PL", "PK", ""},
	{"R", 9, 14, "PB", "", "PD3"},
}

var (
	lowSwitches  = strings.Fields("L1 L4 L7 L8 L9 L10 L11 L12 L14 R8 R5 R4 R1")
	highSwitches = map[string]string{"L1": "PH0", "L4": "PH1", "L5": "PH3", "L8": "PH4", "R7": "PH5", "R1": "PH6"}
)

// positions looks at each position for what its groups give it.
func (c *check) positions() {
	for _, port := range ports {
		far := port.first > 8
		for row := port.first; row <= port.row; row++ {
			name, bit := fmt.Sprint(port.column, row), fmt.Sprint(row-port.first)
			ends := 0
			want := func(present bool, net string, ohms, tolerance float64, what string) {
				if present {
					ends++
					c.between(name, is(net), ohms, tolerance, what)
				}
			}
			fitted := !far || c.has(FarHalf)
			want(fitted, port.drive+bit, 120, 1, "drive")
			want(fitted, "bias_"+name, 10e3, 5, "bias")
			want(fitted && c.has(Load), "load_"+name, 1e3, 5, "load")
			if far {
				want(c.has(Converters), "sense_"+name, 4700, 5, "sense")
			} else {
				want(true, port.sense+bit, 4700, 5, "sense")
			}
			if far && c.has(Converters) {
				c.channel("sense_"+name, "CH"+bit, port.converter)
			}
			ends += c.switches(name) + 2 // socket and header
			if got := len(c.at[name]); got != ends {
				c.fail("position", name, "%d ends, want %d", got, ends)
			}
			c.header(name)
		}
	}
}

// channel looks whether the net is on a channel of the converter that answers on a line.
func (c *check) channel(net, channel, out string) {
	if !slices.ContainsFunc(c.at[net], func(t Terminal) bool {
		return t.Part.Kind == Converter && t.Pin.Name == channel && t.Part.Net("DOUT") == out
	}) {
		c.fail("position", net, "not on %s of the converter at %s", channel, out)
	}
}

// header looks for the position's pin on the side header of its column, in order.
func (c *check) header(name string) {
	if !slices.ContainsFunc(c.at[name], func(t Terminal) bool {
		return t.Part.Kind == Header && t.Pin.Number == name[1:] && t.Pin.Name == name && t.Part.Pins[14].Net == netGround
	}) {
		c.fail("position", name, "not on the side header")
	}
}

// switches looks for the position's transistors and what belongs to them, and gives
// how many ends they have at it.
func (c *check) switches(name string) (ends int) {
	starter := name == "L7" || name == "L8"
	if slices.Contains(lowSwitches, name) && (starter || c.has(Switches)) {
		ends++
		gate := "gate_" + name
		c.transistor(NMOS, name, "D", "G", gate)
		c.between(gate, is(netGround), 10e3, 5, "gate to ground")
		if len(c.at[gate]) != 3 {
			c.fail("position", gate, "%d ends, want 3", len(c.at[gate]))
		}
	}
	if line, ok := highSwitches[name]; ok && (name == "R1" || c.has(Switches)) {
		ends++
		base := "base_" + name
		c.transistor(PNP, name, "C", "B", base)
		c.between(base, is(netSupply), 10e3, 5, "base to emitter")
		c.between(base, is(line), 2200, 5, "base")
		if len(c.at[base]) != 3 || len(c.at[line]) != 2 {
			c.fail("position", base, "%d ends there and %d at %s, want 3 and 2", len(c.at[base]), len(c.at[line]), line)
		}
	}
	return ends
}

func (c *check) transistor(kind Kind, position, out, in, net string) {
	count := 0
	for _, end := range c.at[position] {
		if end.Part.Kind == kind && end.Pin.Name == out && end.Part.Net(in) == net {
			count++
		}
	}
	if count != 1 {
		c.fail("position", position, "%d %ss controlled by %s, want one", count, kind, net)
	}
}

// supplies looks at fuse, monitor, reference and what they feed.
func (c *check) supplies() {
	counts := map[Kind]int{Fuse: 1, Monitor: 1, MCU: 1, Socket: 1, Header: 2, Button: 1, LED: 3}
	if c.has(Converters) {
		counts[Reference], counts[Converter] = 1, 2
		c.between(netReference, is(netRail), 2200, 5, "current of the reference")
		c.between(lineSelect, is(netRail), 10e3, 5, "pull-up of the select")
		for _, out := range []string{lineBackBias, lineBackLoad} {
			c.channel(netReference, "CH6", out)
		}
		c.channel(netSupply, "CH7", lineBackBias)
	}
	for _, p := range c.n.Parts {
		counts[p.Kind]--
	}
	for _, kind := range []Kind{Fuse, Monitor, MCU, Socket, Header, Button, LED, Reference, Converter} {
		if counts[kind] != 0 {
			c.fail("position", kind.String(), "%d too few", counts[kind])
		}
	}
	c.between(lineEnableLow, is(netRail), 10e3, 5, "pull-up of the low side's enable")
	c.between(lineEnableBias, is(netRail), 10e3, 5, "pull-up of the bias' enable")
	if c.has(Load) {
		c.between(lineEnableLoad, is(netRail), 10e3, 5, "pull-up of the load's enable")
	}
}

// operator looks at the lamps; the button is in polarity.
func (c *check) operator() {
	for _, line := range []string{"PE3", "PE5", "PB7"} {
		lamp := c.between(line, func(string) bool { return true }, 1e3, 5, "lamp")
		if !slices.ContainsFunc(c.at[lamp], func(t Terminal) bool { return t.Part.Kind == LED && t.Pin.Name == "A" }) {
			c.fail("polarity", line, "no lamp behind its resistor")
		}
	}
}

// decoupling looks for 100 nF of its own at every package, by number, and at every
// high-side switch, which has 10 µF too. How near they are is the board's to show.
func (c *check) decoupling() {
	want := func(ref, net string, farads float64) {
		p := c.n.Part(ref)
		if p == nil || p.Kind != Capacitor || p.Farads < farads || p.Pins[0].Net != net {
			c.fail("decoupling", ref, "%g F from %s to ground are missing", farads, net)
		}
	}
	for _, p := range c.n.Parts {
		switch p.Kind {
		case Register, Converter:
			want("C"+p.Ref[1:], netRail, 100e-9)
		case Reference:
			want("C"+p.Ref[1:], netReference, 100e-9)
		case PNP:
			want("C1"+p.Ref[2:], netSupply, 100e-9)
			want("C2"+p.Ref[2:], netSupply, 10e-6)
		}
	}
}
