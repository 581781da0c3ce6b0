package selfcheck

import (
	"math"
	"slices"

	"chipassay/firmware/carrier"
)

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
	if slices.ContainsFunc(p.elements, func(e element) bool { return e.kind == carrier.NMOS && e.a == atGround }) {
		for _, k := range cases[:len(cases):len(cases)] { // turned: which of its body diode and a switch to the supply wins is open
			k.weakBody = true
			cases = append(cases, k)
		}
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
	weakBody bool // a body diode gives way to a switch to the supply
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

// equations are the currents at the nodes of a component: rows of conductances with the
// current at the end, and which nodes hang together and on something that holds them.
type equations struct {
	n      int
	rows   []float64
	joined []int
	held   []bool
}

func newEquations(n int) *equations {
	e := &equations{n: n, rows: make([]float64, n*(n+1)), joined: make([]int, n), held: make([]bool, n)}
	for i := range e.joined {
		e.joined[i] = i
	}
	return e
}

func (e *equations) root(i int) int {
	for e.joined[i] != i {
		i = e.joined[i]
	}
	return i
}

// toward pulls a node to a voltage.
func (e *equations) toward(node int, volts, siemens float64) {
	e.rows[node*(e.n+1)+node] += siemens
	e.rows[node*(e.n+1)+e.n] += siemens * volts
	e.held[e.root(node)] = true
}

// join puts a conductance between two nodes, of which b is drop below a, V.
func (e *equations) join(a, b int, siemens, drop float64) {
	switch w := e.n + 1; {
	case a == atNone || b == atNone || a < 0 && b < 0:
	case a < 0:
		e.toward(b, fixedVolts(a)-drop, siemens)
	case b < 0:
		e.toward(a, fixedVolts(b)+drop, siemens)
	default:
		e.rows[a*w+a] += siemens
		e.rows[b*w+b] += siemens
		e.rows[a*w+b] -= siemens
		e.rows[b*w+a] -= siemens
		e.rows[a*w+e.n] += siemens * drop
		e.rows[b*w+e.n] -= siemens * drop
		if x, y := e.root(a), e.root(b); x != y {
			e.held[x] = e.held[x] || e.held[y]
			e.joined[y] = x
		}
	}
}

// solve gives the voltages, and which nodes anything holds; those that nothing holds get 0.
func (e *equations) solve() (volts []float64, held []bool) {
	const leak = 1e-9 // S
	held = make([]bool, e.n)
	for i := range held {
		if held[i] = e.held[e.root(i)]; !held[i] {
			e.rows[i*(e.n+1)+i] += leak
		}
	}
	return eliminate(e.rows, e.n), held
}

// linear solves the component with its transistors as they are.
func (p *component) linear(c *condition, k conduct, on []conduction) (volts []float64, held []bool) {
	q := newEquations(len(p.nets))
	for i, e := range p.elements {
		q.add(e, on[i], k)
	}
	for _, s := range p.sources {
		switch up, driven := c.drives(s.line); {
		case s.line.kind == deadLine:
			q.toward(s.node, k.dead, 1/s.ohms)
		case s.line.kind == deadGate:
			q.toward(s.node, k.gates, 1/s.ohms)
		case s.line.kind == referenceLine:
			q.toward(s.node, referenceVolts, 1/s.ohms)
		case s.line.kind == lowLine && c.low == 0:
			if !k.gatesOff {
				q.toward(s.node, 0, 1/s.ohms)
			}
		case driven && up:
			q.toward(s.node, rail, 1/s.ohms)
		case driven:
			q.toward(s.node, 0, 1/s.ohms)
		}
	}
	return q.solve()
}

// What transistors have, S and V; a typical one's, but only so well that it decides.
const (
	channelSiemens  = 2.0  // a closed switch
	saturation      = 0.05 // V of a closed PNP
	baseSiemens     = 0.2  // its junction
	baseDrop        = 0.7
	reverseSiemens  = 0.02 // the wrong way round it carries some 10 mA
	shortedSiemens  = 0.1  // collector at base: a diode, which a switch to ground outdoes
	weakBodySiemens = 0.1
	bodySiemens     = 10.0 // the body diode of a MOSFET: more than a switch to the supply can lift
	bodyDrop        = 0.6
)

func (q *equations) add(e element, on conduction, k conduct) {
	switch {
	case e.kind == carrier.Resistor:
		q.join(e.a, e.b, e.siemens, 0)
	case e.kind == carrier.NMOS:
		if on.channel {
			q.join(e.a, e.c, channelSiemens, 0)
		}
		switch {
		case on.diode && k.weakBody:
			q.join(e.c, e.a, weakBodySiemens, bodyDrop)
		case on.diode:
			q.join(e.c, e.a, bodySiemens, bodyDrop)
		}
	case e.a == e.b:
		if on.channel {
			q.join(e.c, e.b, shortedSiemens, baseDrop)
		}
	case on.channel && !on.reversed:
		q.join(e.c, e.a, channelSiemens, saturation)
		q.join(e.c, e.b, baseSiemens, baseDrop)
	case on.reversed:
		q.join(e.a, e.c, reverseSiemens, saturation)
		q.join(e.a, e.b, baseSiemens, baseDrop)
	}
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
