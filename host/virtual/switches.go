package virtual

import (
	"math"
	"slices"
	"sync"

	"chipassay/host/adapter"
)

// switches are the states of the supply switches, by number in the wiring.
type switches struct {
	low     []float64 // S of each low-side switch; 0 while it is open
	high    []bool    // high-side switches that are closed
	limited bool      // a high-side switch is at its limit
	draws   float64   // A that drivers opposing each other by a fault take of the rail, apart from the positions
}

// clusterAt is a node's place in a cluster.
type clusterAt struct {
	*cluster
	place int
}

const (
	junctionVolts = 0.7  // of a transistor's base, and of a MOSFET's body diode
	baseMargin    = 0.15 // V beyond the junction at which a base has enough current
	backwardAmps  = 0.05 // through a PNP switch fitted the wrong way round: the deck's gain of 30
)

// connect gives a node what the board has at its positions.
func (s *Socket) connect(i int) {
	n, w := &s.nodes[i], s.wiring
	for _, hub := range s.hubs(n) {
		n.legs = append(n.legs, w.legs[hub]...)
		for k, m := range w.mosfets {
			if m.drain == hub && m.source == groundNet || m.source == hub && m.drain == groundNet {
				n.mosfets = append(n.mosfets, k)
				n.odd = n.odd || m.source == hub || m.gate == hub
			}
		}
		for k, q := range w.pnps {
			if q.collector == hub && q.emitter == supplyNet {
				if q.base != hub {
					n.pnps = append(n.pnps, k)
				}
				n.odd = n.odd || q.base == hub
			}
			n.odd = n.odd || q.emitter == hub && q.collector == supplyNet
		}
	}
	for _, l := range n.legs {
		s.touches[l.lead][l.bit] |= 1 << i
	}
}

// hubs are the nets of a node's positions, each once.
func (s *Socket) hubs(n *node) (nets []net) {
	for p := range n.positions.Positions() {
		if hub := s.wiring.position[p]; hub >= firstNet && !slices.Contains(nets, hub) {
			nets = append(nets, hub)
		}
	}
	return nets
}

// touched is the set of the nodes that some bits of a lead drive. What they drive in
// clusters is found when those are reduced.
func (s *Socket) touched(from lead, bits adapter.Word) (nodes uint64) {
	for i := range 32 {
		if bits>>i&1 != 0 {
			nodes |= s.touches[from][i]
		}
	}
	return nodes
}

// followSwitches opens and closes the switches by their gates and bases, and reports
// whether any changed.
func (s *Socket) followSwitches() (changed bool) {
	w, to := s.wiring, switches{low: make([]float64, len(s.wiring.mosfets)), high: make([]bool, len(s.wiring.pnps)), limited: s.switches.limited}
	s.lowOn, s.highOn, s.followed = 0, 0, false
	for k, m := range w.mosfets {
		if m.gate == noNet || m.gate == m.drain || m.gate == m.source {
			continue
		}
		volts, _ := s.netVolts(m.gate)
		to.low[k] = w.strength.siemens(m, volts)
		if to.low[k] > 0 {
			s.lowOn |= s.positionsOf(m.drain, m.source, groundNet)
		}
	}
	for k, q := range w.pnps {
		volts, held := s.netVolts(q.base)
		to.high[k] = held && q.base != q.collector && volts < s.fixedVolts(supplyNet)-junctionVolts-baseMargin
		if to.high[k] {
			s.highOn |= s.positionsOf(q.collector, q.emitter, supplyNet)
		}
	}
	if s.board.own {
		for i := range w.components {
			if c := &w.components[i]; len(c.sockets) == 0 && len(c.drivers) > 0 {
				to.draws += s.componentAmps(c)
			}
		}
	}
	changed = !slices.Equal(to.high, s.switches.high) || !slices.EqualFunc(to.low, s.switches.low, func(a, b float64) bool { return math.Abs(a-b) < 0.01 })
	s.switches = to
	s.era++
	return changed
}

// positionsOf are the positions on one of two nets, where the other is that of the supply.
func (s *Socket) positionsOf(a, b, supply net) (at adapter.Word) {
	if a == supply {
		a, b = b, a
	}
	if b != supply {
		return 0
	}
	for p, n := range s.wiring.position {
		if n == a && n != noNet {
			at |= adapter.At(p)
		}
	}
	return at
}

// fromSource is what a closed high-side switch gives: a current, A, and a conductance, S.
func (s *Socket) fromSource() (amps, siemens float64) {
	w := s.wiring
	switch {
	case w.source.siemens == 0:
		return 0, 0
	case s.switches.limited:
		return w.strength.most, 0
	}
	siemens = 1 / s.highOhms()
	return siemens * (s.fixedVolts(supplyNet) - w.strength.saturation), siemens
}

// highOhms is what is in the high side of the supply: fuse, shunt and switch.
func (s *Socket) highOhms() float64 { return 1/s.wiring.source.siemens + s.wiring.strength.slope }

// lowOhms is what a low-side switch has.
func (s *Socket) lowOhms() float64 {
	for _, g := range s.switches.low {
		if g > 0 {
			return 1 / g
		}
	}
	return 0
}

// switched is what a closed high-side switch carries at a node, A.
func (s *Socket) switched(n *node) float64 {
	amps, siemens := s.fromSource()
	return max(0, amps-siemens*n.volts)
}

// elementsAt is what a powered chip, and a fault of the board, connect to a node; it is
// valid until the next call.
func (s *Socket) elementsAt(n *node) []element {
	elements := s.padElements(n)
	if n.odd {
		elements = append(elements, s.oddElements(n)...)
	}
	if len(n.capacitors) > 0 {
		below, above := s.clamps()
		elements = append(elements, below, above)
	}
	return elements
}

// oddElements are transistors that are wrongly fitted: turned ones, and those whose gate or
// base touches the next pin.
func (s *Socket) oddElements(n *node) (elements []element) {
	w, supply := s.wiring, s.fixedVolts(supplyNet)
	for _, hub := range s.hubs(n) {
		for _, m := range w.mosfets {
			switch {
			case m.source == hub && m.drain == groundNet: // its body diode leads to ground
				elements = append(elements, against(bodyDiode(), 0))
			case m.gate == hub && m.drain == hub && m.source == groundNet:
				elements = append(elements, against(w.strength.joinedGate, 0))
			}
		}
		for k, q := range w.pnps {
			switch {
			case q.base == hub && q.collector == hub && q.emitter == supplyNet:
				elements = append(elements, against(joinedBase(), supply))
			case q.emitter == hub && q.collector == supplyNet && s.switches.high[k]:
				elements = append(elements, element{volts: supply, siemens: 1, source: true, limit: backwardAmps})
			}
		}
	}
	return elements
}

// The curves of wrongly fitted transistors: a body diode to ground, a junction from the
// supply.
var (
	bodyDiode  = sync.OnceValue(func() *curve { return junctionAbove(1e-12, 0.05) })
	joinedBase = sync.OnceValue(func() *curve { return junctionBelow(2e-13, 0.2) })
)

// against is an element of a curve against a voltage.
func against(c *curve, volts float64) element {
	return element{curve: c, volts: volts, gain: 1, stretch: 1, source: true}
}

// squareLaw is a MOSFET whose gate is at its drain, from a position to ground.
func squareLaw(threshold, gain float64) *curve {
	points := []point{{-0.1, 0}, {threshold, 0}}
	for over := curveStep; over < 4; over += curveStep {
		points = append(points, point{threshold + over, -gain / 2 * over * over})
	}
	return through(points)
}

// oddAmps is what those take from the supply, A.
func (s *Socket) oddAmps(n *node) (amps float64) {
	for _, e := range s.oddElements(n) {
		if e.source {
			current, _ := e.at(n.volts)
			amps += max(0, current)
		}
	}
	return amps
}

// reduceClusters brings the clusters up to date and marks the nodes of those that changed.
func (s *Socket) reduceClusters() {
	for _, c := range s.clusters {
		if s.reduce(c) {
			for _, n := range c.nodes {
				s.dirty |= 1 << n
			}
		}
	}
}
