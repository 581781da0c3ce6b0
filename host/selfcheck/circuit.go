package selfcheck

import (
	"chipassay/firmware/carrier"
)

// What drives a net: volts of the supply, and ohms in series.
const (
	rail           = 5.0  // V; what is measured is scaled to it
	pinOhms        = 25.0 // Ω: an output of the microcontroller, from memory of its data sheet's curves
	registerOhms   = 40.0 // Ω: an output of a 74HC595 at 5 V, likewise
	gateVolts      = 2.0  // V between gate and source at which a logic-level NMOS conducts for certain
	referenceVolts = 2.5
	junction       = 0.65 // V across a silicon junction that conducts a little
)

// An interval is what a voltage may be, V. What floats may be anything.
type interval struct{ low, high float64 }

var anything = interval{0, rail}

func (i interval) known() bool { return i.high-i.low < 0.3 }

// level is the logic level that the microcontroller reads: 0, 1, or -1 for either.
func (i interval) level() int {
	switch {
	case i.high < 0.3*rail:
		return 0
	case i.low > 0.6*rail:
		return 1
	}
	return -1
}

// An element joins two or three nodes of a component; negative ones are fixed nets.
type element struct {
	kind    carrier.Kind // Resistor, NMOS or PNP
	a, b, c int          // resistor a b; transistor drain gate source, or collector base emitter
	siemens float64
	metered bool // a resistor at the supply behind the shunt
}

// A source is a pin that may drive a node.
type source struct {
	line line
	node int
	ohms float64
}

// The fixed nets, as nodes.
const (
	atGround = -1
	atRail   = -2
	atNone   = -3 // a supply that nothing feeds
)

// A component is nets that resistors and transistors join, without those of the supplies.
type component struct {
	nets     []string
	elements []element
	sources  []source
	gated    bool // something beside its resistor hangs on a gate
}

// A circuit is a netlist with an empty socket, ready to be solved.
type circuit struct {
	components []component
	of         map[string]int // component of a net
	node       map[string]int // and its number there
	sample     [29]string     // net that the microcontroller reads for a position
	volts      [29]string     // net that a converter measures for it
	fed        bool           // the supply behind the shunt is there
	unmetered  bool           // and the monitor sees none of its current
}

// supplied gives the node of a net that a supply fixes.
func (c *circuit) supplied(net string) (node int, fixed bool) {
	switch net {
	case "GND":
		return atGround, true
	case "+5V", "FUSED":
		return atRail, true
	case "SUPPLY":
		if c.fed {
			return atRail, true
		}
		return atNone, true
	}
	return 0, false
}

// newCircuit makes a netlist ready. Dead are registers whose outputs may do anything.
func newCircuit(n *carrier.Netlist, dead func(*carrier.Part) bool) *circuit {
	c := &circuit{of: map[string]int{}, node: map[string]int{}, fed: feeds(n), unmetered: bypassed(n)}
	joined := newUnion()
	for i := range n.Parts {
		p := &n.Parts[i]
		switch p.Kind {
		case carrier.Resistor, carrier.NMOS, carrier.PNP:
			first := ""
			for _, pin := range p.Pins {
				if _, fixed := c.supplied(pin.Net); fixed || pin.Net == "" {
					continue
				}
				if first == "" {
					first = pin.Net
				}
				joined.join(first, pin.Net)
			}
		case carrier.MCU, carrier.Register, carrier.Socket, carrier.Converter, carrier.Reference:
			for _, pin := range p.Pins {
				if _, fixed := c.supplied(pin.Net); !fixed && pin.Net != "" {
					joined.join(pin.Net, pin.Net)
				}
			}
		}
	}
	for _, net := range joined.names {
		root := joined.root(net)
		if _, seen := c.of[root]; !seen {
			c.of[root] = len(c.components)
			c.components = append(c.components, component{})
		}
		i := c.of[root]
		c.of[net] = i
		c.node[net] = len(c.components[i].nets)
		c.components[i].nets = append(c.components[i].nets, net)
	}
	for i := range n.Parts {
		c.add(&n.Parts[i], dead)
	}
	return c
}

// at gives the node of a net, and the component that it is in, nil for a supply.
func (c *circuit) at(net string) (*component, int) {
	if node, fixed := c.supplied(net); fixed {
		return nil, node
	}
	i, ok := c.of[net]
	if !ok {
		return nil, atNone
	}
	return &c.components[i], c.node[net]
}

func (c *circuit) add(p *carrier.Part, dead func(*carrier.Part) bool) {
	switch p.Kind {
	case carrier.Resistor, carrier.NMOS, carrier.PNP:
		c.addElement(p)
	case carrier.Reference:
		if in, node := c.at(p.Net("K")); in != nil && p.Net("A") == "GND" {
			in.sources = append(in.sources, source{line{kind: referenceLine}, node, 1})
		}
	case carrier.MCU, carrier.Register:
		c.addSources(p, dead)
	}
	c.addReadings(p)
}

func (c *circuit) addElement(p *carrier.Part) {
	e := element{kind: p.Kind, a: atNone, b: atNone, c: atNone, siemens: 1 / p.Ohms}
	var in *component
	for i, to := range []*int{&e.a, &e.b, &e.c}[:len(p.Pins)] {
		net := p.Pins[i].Net
		if net == "" {
			continue
		}
		var owner *component
		if owner, *to = c.at(net); owner != nil {
			in = owner
		}
		e.metered = e.metered || net == "SUPPLY"
	}
	if in != nil {
		in.elements = append(in.elements, e)
		in.gated = in.gated || e.kind == carrier.NMOS && (e.b == e.a || e.b < 0)
	}
}

// addSources adds the pins of a part that drive their nets.
func (c *circuit) addSources(p *carrier.Part, dead func(*carrier.Part) bool) {
	for _, pin := range p.Pins {
		l, ok := lineOf[[2]string{p.Ref, pin.Name}]
		if pin.Name == "QH'" || pin.Name == "PE5" || pin.Name == "PB6" {
			l, ok = line{kind: deadLine}, true // what passes through to others, a lamp that flickers, an enable that comes and goes
		}
		if !ok || pin.Net == "" {
			continue
		}
		ohms := pinOhms
		switch {
		case l.kind == otherLine:
			ohms = otherLines[l.position].ohms
		case p.Kind == carrier.Register:
			ohms = registerOhms
			switch {
			case dead(p) && l.kind == lowLine:
				l.kind = deadGate
			case dead(p):
				l.kind = deadLine
			}
		}
		if in, node := c.at(pin.Net); in != nil {
			in.sources = append(in.sources, source{l, node, ohms})
		}
	}
}

// addReadings notes what the microcontroller and the converters see of each position.
func (c *circuit) addReadings(p *carrier.Part) {
	if p.Kind != carrier.MCU && p.Kind != carrier.Converter {
		return
	}
	for i := range lanes {
		switch l := &lanes[i]; {
		case p.Kind == carrier.MCU && l.Near():
			c.sample[l.Position], c.volts[l.Position] = p.Net(l.Sense), p.Net(l.Sense)
		case p.Kind == carrier.MCU:
			c.sample[l.Position] = p.Net(l.Drive)
		case !l.Near() && l.Sense[:3] == p.Ref && p.Net("VREF") == "+5V": // against an open one it measures anything
			c.volts[l.Position] = p.Net(l.Sense[4:])
		}
	}
}

// feeds reports whether the fuse and the monitor's shunt bring the rail to the emitters.
func feeds(n *carrier.Netlist) bool {
	fuse, monitor := n.Part("F1"), n.Part("U51")
	return fuse != nil && monitor != nil && fuse.Net("1") == "+5V" && monitor.Net("VIN-") == "SUPPLY" &&
		(fuse.Net("2") == monitor.Net("VIN+") || fuse.Net("2") == "SUPPLY" || monitor.Net("VIN+") == "+5V")
}

// bypassed reports whether the shunt's two ends touch.
func bypassed(n *carrier.Netlist) bool {
	monitor := n.Part("U51")
	return monitor != nil && monitor.Net("VIN+") == monitor.Net("VIN-")
}

// A union joins names into sets; names are in the order in which they came.
type union struct {
	parent map[string]string
	names  []string
}

func newUnion() *union { return &union{parent: map[string]string{}} }

func (u *union) root(name string) string {
	if _, ok := u.parent[name]; !ok {
		u.parent[name] = name
		u.names = append(u.names, name)
	}
	for u.parent[name] != name {
		name = u.parent[name]
	}
	return name
}

func (u *union) join(a, b string) {
	x, y := u.root(a), u.root(b)
	u.parent[y] = x
}
