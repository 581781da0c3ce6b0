package selfcheck

import (
	"math"

	"chipassay/firmware/carrier"
	"chipassay/host/adapter"
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

// A line tells what drives a pin: a kind of line, and the socket position that it serves.
type line struct {
	kind     lineKind
	position int
}

type lineKind int

const (
	driveLine lineKind = iota
	biasLine
	loadLine
	lowLine       // a register output on a gate
	highLine      // of the microcontroller, to a base: 0 is on
	otherLine     // of the microcontroller: what it does is in the table otherLines
	referenceLine // the 2.500 V reference
	deadLine      // of a register that does not do as it is told, or passes on what goes to others
	deadGate      // and of one whose outputs are on gates
)

// otherLines are the lines of the microcontroller that serve all positions, as they
// stand after a condition was set up.
var otherLines = []struct {
	name string
	up   func(c *condition) bool
	ohms float64
}{
	{"PC6", never, pinOhms}, {"PC7", never, pinOhms}, // shift data and clock
	{"PD7", never, pinOhms}, {"PG0", never, pinOhms}, {"PG1", never, pinOhms}, // strobes
	// enables, 0 is on
	{"PG2", func(c *condition) bool { return !c.bias }, pinOhms},
	{"PG5", func(c *condition) bool { return !c.load }, pinOhms},
	{"PJ0", always, pinOhms},                     // selects the converters, 0 is on
	{"PD0", always, 10e3}, {"PD1", always, 10e3}, // pulled up by the monitor's module
	{"PE3", always, pinOhms}, // ready
	{"PE4", always, 35e3},    // button, pulled up in the microcontroller
	{"PB7", func(c *condition) bool { return c.high != 0 || c.low != 0 }, pinOhms}, // power
}

func never(*condition) bool  { return false }
func always(*condition) bool { return true }

// A condition is what the adapter does to the socket: which lines are on, and where to.
type condition struct {
	driven, level    uint32 // by bit of position: 1 << p
	bias, load       bool
	biasUp, loadUp   uint32
	high             int    // closed high-side switch, 0 none
	low              uint32 // closed low-side switches
	measured         uint32 // positions whose voltage is measured
	measuresNoSample bool
}

func bit(position int) uint32 { return 1 << position }

// drives tells where a condition has a line, and whether it drives it at all.
func (c *condition) drives(l line) (up, on bool) {
	b := bit(l.position)
	switch l.kind {
	case driveLine:
		return c.level&b != 0, c.driven&b != 0
	case biasLine:
		return c.biasUp&b != 0, c.bias
	case loadLine:
		return c.loadUp&b != 0, c.load
	case lowLine:
		return c.low&b != 0, c.low != 0 // its outputs are off while nothing is closed
	case highLine:
		return c.high != l.position, true
	case otherLine:
		return otherLines[l.position].up(c), true
	}
	return false, true
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

// lanes is the carrier's table of the socket positions.
var lanes = carrier.Lanes()

// laneAt gives the lane of each position; that of 0 is none.
var laneAt = func() (at [adapter.Positions + 1]carrier.Lane) {
	for _, l := range lanes {
		at[l.Position] = l
	}
	return at
}()

// lines are the pins that drive, by reference and pin name.
func lines() map[[2]string]line {
	of := map[[2]string]line{}
	for _, l := range lanes {
		of[[2]string{"A1", l.Drive}] = line{driveLine, l.Position}
		of[[2]string{l.Bias[:3], l.Bias[4:]}] = line{biasLine, l.Position}
		of[[2]string{l.Load[:3], l.Load[4:]}] = line{loadLine, l.Position}
		if l.Low != "" {
			of[[2]string{l.Low[:3], l.Low[4:]}] = line{lowLine, l.Position}
		}
		if l.High != "" {
			of[[2]string{"A1", l.High}] = line{highLine, l.Position}
		}
	}
	for i, l := range otherLines {
		of[[2]string{"A1", l.name}] = line{otherLine, i}
	}
	return of
}

var lineOf = lines()

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
		e := element{kind: p.Kind, siemens: 1 / p.Ohms}
		var in *component
		for i, to := range []*int{&e.a, &e.b, &e.c} {
			*to = atNone
			net := ""
			if p.Kind == carrier.Resistor && i < 2 {
				net = p.Pins[i].Net
			} else if p.Kind != carrier.Resistor {
				net = p.Pins[i].Net
			}
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
	case carrier.Reference:
		if in, node := c.at(p.Net("K")); in != nil && p.Net("A") == "GND" {
			in.sources = append(in.sources, source{line{kind: referenceLine}, node, 1})
		}
	case carrier.MCU, carrier.Register:
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

// feeds tells whether the fuse and the monitor's shunt bring the rail to the emitters.
func feeds(n *carrier.Netlist) bool {
	fuse, monitor := n.Part("F1"), n.Part("U51")
	return fuse != nil && monitor != nil && fuse.Net("1") == "+5V" && monitor.Net("VIN-") == "SUPPLY" &&
		(fuse.Net("2") == monitor.Net("VIN+") || fuse.Net("2") == "SUPPLY" || monitor.Net("VIN+") == "+5V")
}

// bypassed tells whether the shunt's two ends touch.
func bypassed(n *carrier.Netlist) bool {
	monitor := n.Part("U51")
	return monitor != nil && monitor.Net("VIN+") == monitor.Net("VIN-")
}

// solve gives what the voltages of a component's nets may be under a condition.
func (p *component) solve(c *condition) []interval {
	cases := []conduct{{}}
	dead, gates := false, false
	for _, s := range p.sources {
		switch {
		case s.line.kind == deadLine:
			dead = true
		case s.line.kind == deadGate:
			gates = true
		case s.line.kind == lowLine && c.low == 0 && p.gated:
			cases = []conduct{{}, {gatesOff: true}}
		}
	}
	if dead {
		cases = append(cases, conduct{dead: rail})
	}
	if gates {
		cases = append(cases, conduct{gates: rail})
	}
	if dead && gates {
		cases = append(cases, conduct{dead: rail, gates: rail})
	}
	var found []interval
	for i, k := range cases {
		volts, last, held := p.volts(c, k)
		if i == 0 {
			found = make([]interval, len(volts))
		}
		for j, v := range volts {
			is := interval{min(v, last[j]), max(v, last[j])}
			if !held[j] {
				is = anything
			}
			if i > 0 {
				is = interval{min(is.low, found[j].low), max(is.high, found[j].high)}
			}
			found[j] = is
		}
	}
	return found
}

// A conduct is what lines do of which it is not known: the voltage of those that are
// dead, and whether the outputs on the gates are off or low while no switch is closed.
type conduct struct {
	dead     float64
	gates    float64 // likewise of dead ones on gates
	gatesOff bool
}

// passes bounds how often transistors may switch each other.
const passes = 6

// volts solves a component; held are the nets that anything holds. Last is what it was
// one pass before, which differs where transistors switch each other without end.
func (p *component) volts(c *condition, k conduct) (volts, last []float64, held []bool) {
	on := make([]conduction, len(p.elements))
	for range passes {
		last = volts
		volts, held = p.linear(c, k, on)
		changed := false
		for i, e := range p.elements {
			if e.kind == carrier.Resistor {
				continue
			}
			if now := p.conducts(e, volts, held, on[i]); now != on[i] {
				on[i], changed = now, true
			}
		}
		if !changed {
			return volts, volts, held
		}
	}
	return volts, last, held
}

// A conduction is what a transistor does.
type conduction struct {
	channel  bool // drain and source, or collector and emitter, are joined
	diode    bool // of an NMOS: from its source to its drain
	reversed bool // a PNP that conducts from its collector
}

func (p *component) conducts(e element, volts []float64, held []bool, was conduction) (now conduction) {
	at := func(node int) float64 {
		switch {
		case node == atRail:
			return rail
		case node == atGround || node == atNone:
			return 0
		}
		return volts[node]
	}
	driven := func(node int) bool { return node == atRail || node == atGround || node >= 0 && held[node] }
	if e.kind == carrier.NMOS {
		now.channel = driven(e.b) && driven(e.c) && at(e.b)-at(e.c) > gateVolts
		now.diode = driven(e.a) && driven(e.c) && (at(e.c)-at(e.a) > junction || was.diode)
		return now
	}
	if !driven(e.b) || e.a == atNone || e.c == atNone {
		return now
	}
	now.channel = driven(e.c) && (at(e.c)-at(e.b) > junction || was.channel && !was.reversed)
	if !now.channel {
		now.reversed = driven(e.a) && (at(e.a)-at(e.b) > junction || was.reversed)
		now.channel = now.reversed
	}
	return now
}

// linear solves the component with its transistors as they are.
func (p *component) linear(c *condition, k conduct, on []conduction) (volts []float64, held []bool) {
	n := len(p.nets)
	rows := make([]float64, n*(n+1))
	joined := make([]int, n)
	held = make([]bool, n)
	for i := range joined {
		joined[i] = i
	}
	root := func(i int) int {
		for joined[i] != i {
			i = joined[i]
		}
		return i
	}
	toward := func(node int, volts, siemens float64) {
		rows[node*(n+1)+node] += siemens
		rows[node*(n+1)+n] += siemens * volts
		held[root(node)] = true
	}
	join := func(a, b int, siemens, drop float64) { // b is drop below a
		switch {
		case a == atNone || b == atNone || a < 0 && b < 0:
		case a < 0:
			toward(b, fixedVolts(a)-drop, siemens)
		case b < 0:
			toward(a, fixedVolts(b)+drop, siemens)
		default:
			rows[a*(n+1)+a] += siemens
			rows[b*(n+1)+b] += siemens
			rows[a*(n+1)+b] -= siemens
			rows[b*(n+1)+a] -= siemens
			rows[a*(n+1)+n] += siemens * drop
			rows[b*(n+1)+n] -= siemens * drop
			if x, y := root(a), root(b); x != y {
				held[x] = held[x] || held[y]
				joined[y] = x
			}
		}
	}
	for i, e := range p.elements {
		switch {
		case e.kind == carrier.Resistor:
			join(e.a, e.b, e.siemens, 0)
		case e.kind == carrier.NMOS:
			if on[i].channel {
				join(e.a, e.c, 2, 0)
			}
			if on[i].diode {
				join(e.c, e.a, 10, 0.6) // more than a switch to the supply can lift
			}
		case e.a == e.b:
			if on[i].channel { // its collector at its base: a diode, which a switch to ground outdoes
				join(e.c, e.b, 0.1, 0.7)
			}
		case on[i].channel && !on[i].reversed:
			join(e.c, e.a, 2, 0.05)
			join(e.c, e.b, 0.2, 0.7)
		case on[i].reversed:
			join(e.a, e.c, 0.02, 0.05)
			join(e.a, e.b, 0.2, 0.7)
		}
	}
	for _, s := range p.sources {
		if s.line.kind == deadLine {
			toward(s.node, k.dead, 1/s.ohms)
			continue
		}
		if s.line.kind == deadGate {
			toward(s.node, k.gates, 1/s.ohms)
			continue
		}
		if s.line.kind == referenceLine {
			toward(s.node, referenceVolts, 1/s.ohms)
			continue
		}
		if s.line.kind == lowLine && c.low == 0 {
			if !k.gatesOff {
				toward(s.node, 0, 1/s.ohms)
			}
			continue
		}
		if up, driven := c.drives(s.line); driven {
			toward(s.node, map[bool]float64{true: rail}[up], 1/s.ohms)
		}
	}
	for i := range held {
		held[i] = held[root(i)]
		if !held[i] {
			toward(i, 0, 1e-9)
			held[root(i)] = false
		}
	}
	return eliminate(rows, n), held
}

func fixedVolts(node int) float64 {
	if node == atRail {
		return rail
	}
	return 0
}

// eliminate solves n equations, each a row with its right side at the end.
// Conductance matrices need no pivoting.
func eliminate(rows []float64, n int) []float64 {
	w := n + 1
	for i := range n {
		for j := i + 1; j < n; j++ {
			f := rows[j*w+i] / rows[i*w+i]
			if f == 0 {
				continue
			}
			for k := i; k < w; k++ {
				rows[j*w+k] -= f * rows[i*w+k]
			}
		}
	}
	volts := make([]float64, n)
	for i := n - 1; i >= 0; i-- {
		sum := rows[i*w+n]
		for k := i + 1; k < n; k++ {
			sum -= rows[i*w+k] * volts[k]
		}
		if volts[i] = sum / rows[i*w+i]; math.IsNaN(volts[i]) {
			volts[i] = 0
		}
	}
	return volts
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
