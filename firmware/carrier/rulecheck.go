package carrier

import (
	"fmt"
	"slices"
	"strings"
)

// A Violation is a rule that the netlist breaks, and where.
type Violation struct {
	Rule string // pinout, polarity, driver, floating, reset, value, chain, position, rating, decoupling
	At   string // a part, a net or both
	Text string
}

func (v Violation) Error() string { return v.Rule + ": " + v.At + ": " + v.Text }

// Check applies the electrical rules to a carrier that is to have these groups, and
// gives all that it breaks:
//
//   - pinout, polarity: every part has the pins of its package, and the right way round
//   - driver: each net has a driver, and no two
//   - floating: no node that two positions share floats in any state of the switches
//   - reset: every enable, select, gate and base has the level that turns it off
//     while the microcontroller is in reset; strobes and shift lines may float then
//   - value: resistors are those that the design's figures were computed with
//   - chain: registers shift in the order that the firmware goes by
//   - position: every position has all that its groups give it, and nothing else
//   - rating: see ratings.go
//   - decoupling: every package and every high-side switch has its capacitors
//
// It takes expected values from the design and data sheets and not from what New
// makes the netlist of.
func (n *Netlist) Check(groups ...Group) []Violation {
	c := &check{n: n, at: map[string][]Terminal{}, groups: append([]Group{Starter}, groups...)}
	for _, net := range n.Nets() {
		c.at[net] = n.Terminals(net)
	}
	c.pinouts()
	c.polarity()
	c.drivers()
	c.floating()
	c.reset()
	c.chains()
	c.positions()
	c.supplies()
	c.operator()
	c.decoupling()
	if len(c.broken) == 0 { // the ratings rest on what the others make sure of
		c.ratings()
	}
	return c.broken
}

type check struct {
	n      *Netlist
	at     map[string][]Terminal // by net
	groups []Group
	broken []Violation
}

func (c *check) has(g Group) bool { return slices.Contains(c.groups, g) }

func (c *check) fail(rule, at, format string, a ...any) {
	c.broken = append(c.broken, Violation{rule, at, fmt.Sprintf(format, a...)})
}

// packagePins are the pin names in the order of their numbers, from the data sheets,
// from memory. In-line transistors come in several orders: the parts list asks for these.
var packagePins = map[Kind]string{
	Resistor:  "1 2",
	Capacitor: "1 2",
	NMOS:      "D G S",
	PNP:       "C B E",
	Register:  "QB QC QD QE QF QG QH GND QH' /SRCLR SRCLK RCLK /OE SER QA VCC",
	Converter: "CH0 CH1 CH2 CH3 CH4 CH5 CH6 CH7 DGND /CS DIN DOUT CLK AGND VREF VDD",
	Reference: "NC K A",
	Monitor:   "VCC GND SCL SDA VIN- VIN+",
	Fuse:      "1 2",
	LED:       "K A",
	Button:    "1 2",
	Link:      "short end long",
	Socket:    "L1 L2 L3 L4 L5 L6 L7 L8 L9 L10 L11 L12 L13 L14 R14 R13 R12 R11 R10 R9 R8 R7 R6 R5 R4 R3 R2 R1",
}

const polarisedPins = "+ -" // of a capacitor of 1 µF or more

func (c *check) pinouts() {
	seen := map[string]bool{}
	for i := range c.n.Parts {
		p := &c.n.Parts[i]
		if seen[p.Ref] {
			c.fail("pinout", p.Ref, "there are two of this reference")
		}
		seen[p.Ref] = true
		want, known := packagePins[p.Kind]
		if !known {
			continue // the microcontroller's board and the headers: see positions
		}
		if p.Kind == Capacitor && p.Farads >= 1e-6 {
			want = polarisedPins
		}
		names := strings.Fields(want)
		if len(p.Pins) != len(names) {
			c.fail("pinout", p.Ref, "%d pins, want %d", len(p.Pins), len(names))
			continue
		}
		for number, name := range names {
			pin := p.Pin(name)
			if pin == nil || pin.Number != fmt.Sprint(number+1) {
				c.fail("pinout", p.Ref, "pin %d is not %s", number+1, name)
			} else if p.Kind == Socket && pin.Net != name {
				c.fail("pinout", p.Ref, "pin %d is on %q", number+1, pin.Net)
			}
		}
	}
}

// polarity holds the pins whose net is the same for every part of a kind.
func (c *check) polarity() {
	fixed := map[Kind]string{
		Register:  "VCC=+5V GND=GND /SRCLR=+5V SRCLK=PC7",
		Converter: "VDD=+5V VREF=+5V AGND=GND DGND=GND CLK=PC7 DIN=PC6 /CS=PJ0",
		NMOS:      "S=GND",
		PNP:       "E=SUPPLY",
		LED:       "K=GND",
		Reference: "K=REF2V5 A=GND",
		Monitor:   "VCC=+5V GND=GND VIN+=FUSED VIN-=SUPPLY SCL=PD0 SDA=PD1",
		Fuse:      "1=+5V 2=FUSED",
		Button:    "1=PE4 2=GND",
	}
	for i := range c.n.Parts {
		p := &c.n.Parts[i]
		for _, rule := range strings.Fields(fixed[p.Kind]) {
			name, net, _ := strings.Cut(rule, "=")
			if got := p.Net(name); got != net {
				c.fail("polarity", p.Ref, "%s is on %q, not on %s", name, got, net)
			}
		}
		if p.Kind == Capacitor && (p.Pins[0].Net == netGround || p.Pins[1].Net != netGround) {
			c.fail("polarity", p.Ref, "from %q to %q", p.Pins[0].Net, p.Pins[1].Net)
		}
	}
}

// drivers looks at each net for what puts a level on it.
func (c *check) drivers() {
	for _, net := range c.n.Nets() {
		var outputs, tristates, sources, lines []string
		for _, end := range c.at[net] {
			switch end.Pin.Type {
			case Output:
				outputs = append(outputs, end.String())
			case TriState:
				tristates = append(tristates, end.String())
			case PowerOut:
				if len(sources) == 0 || !strings.HasPrefix(sources[0], end.Part.Ref+".") { // a board's several pins
					sources = append(sources, end.String())
				}
			case Bidirectional:
				lines = append(lines, end.String())
			}
		}
		if driving := slices.Concat(outputs, tristates, sources); len(driving) > 1 {
			c.fail("driver", net, "driven by %s", strings.Join(driving, " and "))
		}
		if len(lines) > 1 || len(lines) == 1 && len(sources) > 0 {
			c.fail("driver", net, "lines %s on one net, or on a supply", strings.Join(lines, ", "))
		}
		if len(lines) == 1 && len(outputs)+len(tristates) > 0 && net != lineBackBias && net != lineBackLoad && net != lineBackLow {
			c.fail("driver", net, "an output drives a line that the firmware drives")
		}
		c.driven(net)
	}
	for i := range c.n.Parts {
		for _, pin := range c.n.Parts[i].Pins {
			if pin.Net == "" && pin.Type != TriState && pin.Type != Output && pin.Type != Unused && pin.Type != Bidirectional {
				c.fail("driver", c.n.Parts[i].Ref+"."+pin.Number, "%s is open", pin.Name)
			}
		}
	}
}

// driven looks whether an input or a lone passive end on the net gets a level.
func (c *check) driven(net string) {
	ends := c.at[net]
	needs, open := false, true
	for _, end := range ends {
		switch {
		case end.Pin.Type == Input, end.Pin.Type == PowerIn, end.Pin.Type == OpenDrain:
			needs = true
		case end.Part.Kind == Link && end.Pin.Name != "end", end.Part.Kind == Socket, end.Part.Kind == Header,
			end.Pin.Type == Output, end.Pin.Type == TriState, end.Pin.Type == Bidirectional:
			open = false
		}
	}
	if len(ends) == 1 && open {
		c.fail("driver", net, "%s alone is on it", ends[0])
		return
	}
	if !needs {
		return
	}
	for reached := range c.component([]string{net}, false) {
		if stiff(reached) || slices.ContainsFunc(c.at[reached], func(t Terminal) bool {
			return t.Pin.Type == Output || t.Pin.Type == TriState || t.Pin.Type == PowerOut || t.Pin.Type == Bidirectional
		}) {
			return
		}
	}
	c.fail("driver", net, "nothing gives it a level")
}

func stiff(net string) bool { return net == netRail || net == netGround }

// component gives the nets that conduct to those given: through resistors, the
// fuse, the shunt and the links, and with switches through transistors that are
// on. It does not go on from the rails, nor with switches from the supply behind the
// shunt, which a rail holds.
func (c *check) component(from []string, switches bool) map[string]bool {
	reached := map[string]bool{}
	for len(from) > 0 {
		net := from[0]
		from = from[1:]
		if net == "" || reached[net] {
			continue
		}
		reached[net] = true
		if stiff(net) || switches && net == netSupply {
			continue
		}
		for _, end := range c.at[net] {
			from = append(from, beyond(end, switches)...)
		}
	}
	return reached
}

// beyond gives the nets at the other ends of what conducts from a terminal.
func beyond(t Terminal, switches bool) []string {
	join := func(names ...string) []string {
		if !slices.Contains(names, t.Pin.Name) {
			return nil
		}
		var nets []string
		for _, name := range names {
			if name != t.Pin.Name {
				nets = append(nets, t.Part.Net(name))
			}
		}
		return nets
	}
	switch t.Part.Kind {
	case Resistor, Fuse:
		return join("1", "2")
	case Monitor:
		return join("VIN+", "VIN-")
	case Link:
		if t.Part.Value == linkShort {
			return join("short", "end")
		}
		return join("end", "long")
	case NMOS:
		if switches {
			return join("D", "S")
		}
	case PNP:
		if switches {
			return join("C", "E")
		}
	}
	return nil
}

// floating looks for nodes that positions share. The worst state is the one in which
// every line and every register output is released: then whatever joins two
// positions joins them through a floating node. The supply behind the shunt is held
// by the rail, so it is no such node, unless what holds it is gone.
func (c *check) floating() {
	if !c.component([]string{netSupply}, false)[netRail] {
		c.fail("floating", netSupply, "nothing holds the emitters of the high side")
	}
	for _, l := range lanes {
		for _, switches := range []bool{false, true} {
			var others []string
			for net := range c.component([]string{l.Name}, switches) {
				if isPosition(net) && net != l.Name {
					others = append(others, net)
				}
			}
			if len(others) > 0 {
				slices.Sort(others)
				c.fail("floating", l.Name, "joined with %s while nothing drives", strings.Join(others, ", "))
				break
			}
		}
	}
}

func isPosition(net string) bool {
	return slices.ContainsFunc(lanes[:], func(l Lane) bool { return l.Name == net })
}

// reset looks at the levels that resistors alone give to what must be off.
func (c *check) reset() {
	for i := range c.n.Parts {
		p := &c.n.Parts[i]
		for _, want := range []struct {
			kind      Kind
			pin, rail string
		}{
			{Register, "/OE", netRail}, {Converter, "/CS", netRail}, {NMOS, "G", netGround}, {PNP, "B", netRail},
		} {
			if p.Kind != want.kind {
				continue
			}
			net := p.Net(want.pin)
			reached := c.component([]string{net}, false)
			switch up, down := reached[netRail], reached[netGround]; {
			case !up && !down:
				c.fail("reset", p.Ref, "%s floats", want.pin)
			case up && down:
				c.fail("reset", p.Ref, "%s stands between the rails", want.pin)
			case up != (want.rail == netRail):
				c.fail("reset", p.Ref, "%s is on", want.pin)
			}
			if stiff(net) {
				c.fail("reset", p.Ref, "%s cannot be switched", want.pin)
			}
		}
	}
}
