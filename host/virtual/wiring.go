package virtual

import (
	"slices"
	"strconv"
	"strings"

	"chipassay/firmware/carrier"
	"chipassay/host/adapter"
)

// lanes are the positions of the socket in the carrier's order.
var lanes = carrier.Lanes()

// A net is a net of the carrier by number.
type net int

// The nets whose voltage is the supply's; all others are solved.
const (
	groundNet net = iota
	railNet
	fusedNet
	supplyNet
	firstNet
	noNet net = -1
)

// solderSiemens is the conductance of a solder bridge, and of a closed link.
const solderSiemens = 100

// A wire is a resistance between two nets.
type wire struct {
	a, b    net
	siemens float64
}

// A lead is the source of a driver's state.
type lead uint8

// The leads: the MCU's lines that drive positions, the outputs of the bias and load
// registers, those that drive gates, the lines of the high-side switches, each by the bit of its
// position; and the lines of restLines.
const (
	driveLines lead = iota
	biasOutputs
	loadOutputs
	gateOutputs
	baseLines
	restLines
	leads
)

// The bits of restLines.
const (
	restsLow = iota
	restsHigh
	biasEnable // low while the bias is on
	loadEnable
)

// A driver holds a net high or low, or releases it.
type driver struct {
	net      net
	lead     lead
	bit      uint8
	register bool // an output of a register, else a line of the MCU
}

// A mosfet is a low-side switch.
type mosfet struct {
	drain, gate, source net
	ohms                float64 // at 5 V on the gate
}

// A pnp is a high-side switch.
type pnp struct{ collector, base, emitter net }

// A component is a set of nets that resistances join.
type component struct {
	nets    []net
	wires   []wire // their ends may be nets of the supply
	drivers []driver
	sockets []net // nets of socket positions
}

// A leg leads from a socket position to a driver: S while that is low or high.
type leg struct {
	lead      lead
	bit       uint8
	low, high float64
}

// A wiring is the circuit of a carrier with its faults, as the socket uses it.
//
// It leaves out the clamp diodes of the MCU's pins and of the registers' outputs: nothing in
// the socket is above the board's 5 V or below its ground, so they never conduct. It also
// leaves out the floating rail that a register without supply clamps to. Capacitors are
// open, as they are once everything has settled.
type wiring struct {
	netlist    *carrier.Netlist
	strength   strength
	numbers    map[string]net
	holders    map[net]int // of each net, how many lines and serial outputs always drive it
	wires      []wire
	drivers    []driver
	mosfets    []mosfet
	pnps       []pnp
	components []component
	of         []int // the component of each net, -1 where there is none

	position [adapter.Positions + 1]net // the net of each position, noNet where its contact is open
	legs     map[net][]leg              // of positions that nothing but resistors joins to drivers
	clusters []int                      // components of positions that are not so simple
	chains   [3]chain
	source   source
	sense    [32]net  // what the MCU reads by bit of the word, noNet for nothing
	reads    [32]seen // and how to find it
	odd      adapter.Word
	inputs   [32]net // what the converters measure, by channel

	converters     [2]bool // that answer
	references     [2]bool // whose reference input is at the rail
	monitored      bool
	reference      net  // of the 2.500 V
	referenceHolds bool // it is fitted, the right way round
}

// derive makes the circuit of a board.
func derive(b *Board) *wiring {
	w := &wiring{netlist: b.netlist, strength: strengths[b.corner+1], legs: map[net][]leg{},
		numbers: map[string]net{"GND": groundNet, "+5V": railNet, "FUSED": fusedNet, "SUPPLY": supplyNet}}
	w.findWires()
	w.findHolders(b)
	w.findSource(b)
	for i := range w.chains {
		w.chains[i] = w.chainOf(b, i)
	}
	w.findDrivers(b)
	w.findComponents()
	w.findPositions()
	w.findInputs(b)
	return w
}

// number gives a net its number.
func (w *wiring) number(name string) net {
	if name == "" {
		return noNet
	}
	n, ok := w.numbers[name]
	if !ok {
		n = net(len(w.numbers))
		w.numbers[name] = n
	}
	return n
}

// pin is the net of a part's pin; noNet if the pin or the part is missing.
func (w *wiring) pin(ref, name string) net {
	if p := w.netlist.Part(ref); p != nil {
		return w.number(p.Net(name))
	}
	return noNet
}

// line is the net of a line of the MCU.
func (w *wiring) line(name string) net { return w.pin(mcuRef, name) }

const mcuRef, socketRef, monitorRef, fuseRef, referenceRef, buttonRef = "A1", "X1", "U51", "F1", "U43", "S1"

func (w *wiring) findWires() {
	for i := range w.netlist.Parts {
		p := &w.netlist.Parts[i]
		at := func(pin int) net { return w.number(p.Pins[pin].Net) }
		switch p.Kind {
		case carrier.Resistor:
			w.join(at(0), at(1), 1/p.Ohms)
		case carrier.Link:
			if p.Value == "1-2" {
				w.join(at(0), at(1), solderSiemens)
			} else {
				w.join(at(1), at(2), solderSiemens)
			}
		case carrier.Button: // it is not pressed
		case carrier.NMOS:
			w.mosfets = append(w.mosfets, mosfet{w.number(p.Net("D")), w.number(p.Net("G")), w.number(p.Net("S")), p.Ohms})
		case carrier.PNP:
			w.pnps = append(w.pnps, pnp{w.number(p.Net("C")), w.number(p.Net("B")), w.number(p.Net("E"))})
		}
		for _, pin := range p.Pins {
			w.number(pin.Net)
		}
	}
}

func (w *wiring) join(a, b net, siemens float64) {
	if a != noNet && b != noNet && a != b {
		w.wires = append(w.wires, wire{a, b, siemens})
	}
}

// bitOfLane is the bit of a position's lane in a word.
func bitOfLane(l carrier.Lane) uint8 { return uint8(bitOf(l.Position)) }

// resting are the lines that the MCU always drives, with their resting levels.
var resting = map[string]uint8{
	"PC6": restsLow, "PC7": restsLow, "PD7": restsLow, "PG0": restsLow, "PG1": restsLow, "PB6": restsLow,
	"PG2": biasEnable, "PG5": loadEnable, "PJ0": restsHigh,
	"PE3": restsHigh, "PE5": restsLow, "PB7": restsLow,
}

// findDrivers notes what drives each net: the firmware's use of the MCU's lines, and the outputs of the registers.
func (w *wiring) findDrivers(b *Board) {
	drive := func(line string, from lead, bit uint8) {
		if high, stuck := b.stuck[line]; stuck {
			from, bit = restLines, restsLow
			if high {
				bit = restsHigh
			}
		}
		if n := w.line(line); n != noNet {
			w.drivers = append(w.drivers, driver{n, from, bit, false})
		}
	}
	named := map[string]bool{}
	for _, l := range lanes {
		drive(l.Drive, driveLines, bitOfLane(l))
		named[l.Drive] = true
		if l.High != "" {
			drive(l.High, baseLines, bitOfLane(l))
			named[l.High] = true
		}
	}
	for _, p := range w.netlist.Part(mcuRef).Pins {
		bit, rests := resting[p.Name]
		if _, stuck := b.stuck[p.Name]; !named[p.Name] && (rests || stuck) {
			drive(p.Name, restLines, bit)
		}
	}
	for i := range w.chains {
		w.drivers = append(w.drivers, w.chains[i].drivers...)
	}
}

// findComponents finds which nets resistances join.
func (w *wiring) findComponents() {
	w.of = make([]int, len(w.numbers))
	for i := range w.of {
		w.of[i] = -1
	}
	joined := make([]net, len(w.numbers))
	for i := range joined {
		joined[i] = net(i)
	}
	root := func(n net) net {
		for joined[n] != n {
			n = joined[n]
		}
		return n
	}
	for _, r := range w.wires {
		if r.a >= firstNet && r.b >= firstNet {
			joined[root(r.a)] = root(r.b)
		}
	}
	at := func(n net) *component {
		to := root(n)
		if w.of[to] < 0 {
			w.of[to] = len(w.components)
			w.components = append(w.components, component{})
		}
		w.of[n] = w.of[to]
		return &w.components[w.of[n]]
	}
	for n := firstNet; n < net(len(w.numbers)); n++ {
		c := at(n)
		c.nets = append(c.nets, n)
	}
	for _, r := range w.wires {
		if n := max(r.a, r.b); n >= firstNet {
			c := at(n)
			c.wires = append(c.wires, r)
		}
	}
	for _, d := range w.drivers {
		if d.net >= firstNet {
			c := at(d.net)
			c.drivers = append(c.drivers, d)
		}
	}
}

// findPositions finds the nets of the positions and what leads to them.
func (w *wiring) findPositions() {
	for p := range w.position {
		w.position[p] = noNet
	}
	for _, pin := range w.netlist.Part(socketRef).Pins {
		p, _ := strconv.Atoi(pin.Number)
		n := w.number(pin.Net)
		w.position[p] = n
		if n < firstNet || w.of[n] < 0 {
			continue
		}
		c := &w.components[w.of[n]]
		if !slices.Contains(c.sockets, n) {
			c.sockets = append(c.sockets, n)
		}
	}
	for i := range w.components {
		c := &w.components[i]
		switch legs, simple := w.star(c); {
		case len(c.sockets) == 0:
		case simple:
			w.legs[c.sockets[0]] = legs
		default:
			w.clusters = append(w.clusters, i)
		}
	}
}

// star gives the legs of a component that is one position with a resistor to each driver.
func (w *wiring) star(c *component) (legs []leg, ok bool) {
	if len(c.sockets) != 1 {
		return nil, false
	}
	hub, ohms := c.sockets[0], map[net]float64{}
	for _, n := range c.nets {
		if w.controls(n) {
			return nil, false
		}
	}
	for _, r := range c.wires {
		far := r.a
		if far == hub {
			far = r.b
		} else if r.b != hub {
			return nil, false
		}
		if far < firstNet {
			bit := uint8(restsHigh)
			if far == groundNet {
				bit = restsLow
			}
			legs = append(legs, leg{restLines, bit, r.siemens, r.siemens})
			continue
		}
		if ohms[far] != 0 {
			return nil, false
		}
		ohms[far] = 1 / r.siemens
	}
	for _, d := range c.drivers {
		r, there := ohms[d.net]
		if !there || r == 0 {
			return nil, false
		}
		low, high := w.strength.of(d)
		legs = append(legs, leg{d.lead, d.bit, 1 / (r + low), 1 / (r + high)})
		ohms[d.net] = 0 // the next driver of the same net finds no resistor of its own
	}
	slices.SortStableFunc(legs, func(a, b leg) int { return int(a.lead) - int(b.lead) })
	return legs, true
}

// controls reports whether a switch is controlled by a net.
func (w *wiring) controls(n net) bool {
	return slices.ContainsFunc(w.mosfets, func(m mosfet) bool { return m.gate == n }) ||
		slices.ContainsFunc(w.pnps, func(q pnp) bool { return q.base == n })
}

// isLine reports whether a name is that of a line of the MCU.
func isLine(name string) bool {
	return len(name) == 3 && strings.HasPrefix(name, "P") && name[2] >= '0' && name[2] <= '7'
}
