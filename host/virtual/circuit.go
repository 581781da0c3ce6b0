package virtual

import (
	"slices"

	"chipassay/host/adapter"
)

// states are what the drivers of each lead do: which are on, and which of those are high.
type states [leads]struct{ on, up adapter.Word }

// does gives a driver's state.
func (st *states) does(d driver) (on, high bool) {
	return st[d.lead].on>>d.bit&1 != 0, st[d.lead].up>>d.bit&1 != 0
}

// set makes the states from what the firmware asks for.
func (s *Socket) setStates() {
	w, st := s.wiring, &s.state
	st[driveLines].on, st[driveLines].up = s.dir, s.level
	st[restLines].on, st[restLines].up = 1<<restsLow|1<<restsHigh|1<<biasEnable|1<<loadEnable, 1<<restsHigh
	for which, p := range s.pulls {
		c := &w.chains[1+which]
		at := &st[biasOutputs+lead(which)]
		at.on, at.up = c.always|c.stuck, p.up&c.stores
		if p.on {
			at.on |= c.enabled
		} else {
			st[restLines].up |= 1 << (biasEnable + which)
		}
		at.up = at.up&^c.stuck | c.high
	}
	c := &w.chains[0]
	st[gateOutputs].on = c.always | c.enabled | c.stuck
	st[gateOutputs].up = s.askedLow&c.stores&^c.stuck | c.high
	st[baseLines].on, st[baseLines].up = ^adapter.Word(0), ^s.askedHigh
}

// fixedVolts is the voltage of a net that the supply gives.
func (s *Socket) fixedVolts(n net) float64 {
	switch n {
	case groundNet:
		return 0
	case supplyNet:
		return s.supply.rail * s.wiring.source.share
	}
	return s.supply.rail
}

// stillSiemens holds a net that nothing else drives.
const stillSiemens = 1e-12

// equations are the currents at the nets of a component: G V = I.
func (s *Socket) equations(c *component) (g [][]float64, i []float64) {
	at := func(n net) int { return slices.Index(c.nets, n) }
	g, i = make([][]float64, len(c.nets)), make([]float64, len(c.nets))
	for k := range g {
		g[k] = make([]float64, len(c.nets))
		g[k][k] = stillSiemens
	}
	for _, r := range c.wires {
		a, b := at(min(r.a, r.b)), at(max(r.a, r.b))
		g[b][b] += r.siemens
		if a < 0 {
			i[b] += r.siemens * s.fixedVolts(min(r.a, r.b))
			continue
		}
		g[a][a] += r.siemens
		g[a][b] -= r.siemens
		g[b][a] -= r.siemens
	}
	for _, d := range c.drivers {
		on, high := s.state.does(d)
		if !on {
			continue
		}
		k := at(d.net)
		low, up := s.wiring.strength.of(d)
		if high {
			g[k][k] += 1 / up
			i[k] += s.supply.rail / up
		} else {
			g[k][k] += 1 / low
		}
	}
	return g, i
}

// netVolts finds the voltage of a net of the carrier, V; ok is false if nothing holds it.
func (s *Socket) netVolts(n net) (volts float64, ok bool) {
	if n == noNet {
		return 0, false
	}
	if n < firstNet {
		return s.fixedVolts(n), true
	}
	c := &s.wiring.components[s.wiring.of[n]]
	if !s.holds(c) {
		return 0, false
	}
	if len(c.sockets) == 0 {
		return s.railShareOf(c, n) * s.supply.rail, true
	}
	return s.solved(c, n), true
}

// A railShare is that of the rail at a net which no position is joined to, while the drivers of its
// component do something: no other voltage is anywhere near it.
type railShare struct {
	net    net
	doing  uint64 // two bits a driver
	ofRail float64
}

// railShareOf finds it, or remembers it.
func (s *Socket) railShareOf(c *component, n net) float64 {
	if len(c.drivers) > 32 {
		return s.solved(c, n) / s.supply.rail
	}
	doing := uint64(0)
	for _, d := range c.drivers {
		at := &s.state[d.lead]
		on := uint64(at.on >> d.bit & 1)
		doing = doing<<2 | on<<1 | on&uint64(at.up>>d.bit)
	}
	for i := range s.railShares {
		if known := &s.railShares[i]; known.net == n && known.doing == doing {
			return known.ofRail
		}
	}
	found := railShare{n, doing, s.solved(c, n) / s.supply.rail}
	s.railShares = append(s.railShares, found)
	return found.ofRail
}

// solved finds the voltage of a net of a component that something holds, V.
func (s *Socket) solved(c *component, n net) float64 {
	g, i := s.equations(c)
	for _, hub := range c.sockets {
		k := slices.Index(c.nets, hub)
		clear(g[k])
		g[k][k], i[k] = 1, s.nodeOf(hub).volts
		for j := range g { // no pivot is sought: take the known voltage out of the others
			if j != k {
				i[j] -= g[j][k] * i[k]
				g[j][k] = 0
			}
		}
	}
	return eliminate(g, i)[slices.Index(c.nets, n)]
}

// holds reports whether anything holds the nets of a component.
func (s *Socket) holds(c *component) bool {
	return slices.ContainsFunc(c.wires, func(r wire) bool { return min(r.a, r.b) < firstNet }) ||
		slices.ContainsFunc(c.drivers, func(d driver) bool { on, _ := s.state.does(d); return on }) ||
		slices.ContainsFunc(c.sockets, func(hub net) bool { return !s.nodeOf(hub).floating })
}

// nodeOf is the node of a position's net.
func (s *Socket) nodeOf(hub net) *node {
	return s.of[slices.Index(s.wiring.position[:], hub)]
}

// A cluster is a component of more than one position, or one that is not a star: its
// equivalent at its positions, given the drivers' states.
type cluster struct {
	*component
	order     []int     // of its nets, those of positions last
	nodes     []int     // of its positions, by number
	couplings []int     // between them, by number in the socket's: of each pair, in order
	amps      []float64 // into each position, A
	siemens   []float64 // from each to ground, S
	known     states    // for which that holds
	rail      float64
}

// makeClusters makes the socket's clusters and the couplings that they bring.
func (s *Socket) makeClusters() {
	for _, k := range s.wiring.clusters {
		c := &cluster{component: &s.wiring.components[k]}
		for i, n := range c.nets {
			if !slices.Contains(c.sockets, n) {
				c.order = append(c.order, i)
			}
		}
		for _, hub := range c.sockets {
			c.order = append(c.order, slices.Index(c.nets, hub))
			at := s.number(slices.Index(s.wiring.position[:], hub))
			s.nodes[at].clusters = append(s.nodes[at].clusters, clusterAt{c, len(c.nodes)})
			c.nodes = append(c.nodes, at)
		}
		for i := range c.nodes {
			for j := range i {
				c.couplings = append(c.couplings, len(s.couplings))
				s.couplings = append(s.couplings, coupling{from: c.nodes[j], to: c.nodes[i]})
			}
		}
		s.gated = s.gated || slices.ContainsFunc(c.nets, s.wiring.controls)
		c.amps, c.siemens = make([]float64, len(c.nodes)), make([]float64, len(c.nodes))
		s.clusters = append(s.clusters, c)
	}
}

// reduce eliminates the nets of a cluster that are no positions, if its drivers have
// changed since, and reports whether they have.
func (s *Socket) reduce(c *cluster) bool {
	if c.known == s.state && c.rail == s.supply.rail {
		return false
	}
	c.known, c.rail = s.state, s.supply.rail
	g, i := s.equations(c.component)
	inside := len(c.order) - len(c.nodes)
	for at, k := range c.order[:inside] {
		for _, j := range c.order[at+1:] {
			f := g[j][k] / g[k][k]
			if f == 0 {
				continue
			}
			for _, l := range c.order[at+1:] {
				g[j][l] -= f * g[k][l]
			}
			i[j] -= f * i[k]
		}
	}
	hubs, pair := c.order[inside:], 0
	for a, k := range hubs {
		c.amps[a], c.siemens[a] = i[k], g[k][k]
	}
	for a, k := range hubs {
		for b, l := range hubs[:a] {
			between := max(0, -g[k][l])
			s.couplings[c.couplings[pair]].siemens = between
			pair++
			c.siemens[a] -= between
			c.siemens[b] -= between
		}
	}
	for a := range hubs {
		if c.siemens[a] < 100*stillSiemens { // the residue of numbers that cancel
			c.siemens[a], c.amps[a] = 0, 0
		}
	}
	return true
}
