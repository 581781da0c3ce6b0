package virtual

import (
	"math"
	"math/bits"
)

// A coupling is a resistance between two nodes.
type coupling struct {
	from, to int // by number
	siemens  float64
}

// A group is nodes that resistances couple, so that they are solved together.
type group struct {
	mesh
	nodes   []*node
	all     uint64  // the same by number in the socket
	between []int   // couplings by number in the socket's
	number  [64]int // of each of the socket's nodes in nodes
}

// couple notes the resistances between pins of the chip, and which nodes are brought together.
func (s *Socket) couple() {
	for _, d := range s.chip.Defects {
		if d.Kind == ResistiveShort {
			from, to := s.number(s.chip.position(d.Pin)), s.number(s.chip.position(d.Other))
			if from != to { // else they touch besides
				s.couplings = append(s.couplings, coupling{from, to, 1 / d.Amount})
			}
		}
	}
	s.group()
}

// group finds the nodes that couplings connect.
func (s *Socket) group() {
	s.groups = nil
	taken := uint64(0)
	for _, c := range s.couplings {
		if taken>>c.from&1 != 0 {
			continue
		}
		g := s.groupOf(s.coupledWith(1 << c.from))
		taken |= g.all
		s.groups = append(s.groups, g)
	}
}

// groupOf makes a group of a set of nodes that no resistance leads out of.
func (s *Socket) groupOf(all uint64) group {
	g := group{all: all}
	for rest := all; rest != 0; rest &= rest - 1 {
		i := bits.TrailingZeros64(rest)
		g.number[i] = len(g.nodes)
		g.nodes = append(g.nodes, &s.nodes[i])
	}
	for k, c := range s.couplings {
		if all>>c.from&1 != 0 {
			g.between = append(g.between, k)
		}
	}
	g.mesh = newMesh(len(g.nodes), len(g.between))
	return g
}

// coupledWith adds to a set of nodes those that resistances lead to.
func (s *Socket) coupledWith(nodes uint64) uint64 {
	for before := uint64(0); before != nodes; {
		before = nodes
		for _, c := range s.couplings {
			if ends := uint64(1)<<c.from | 1<<c.to; nodes&ends != 0 {
				nodes |= ends
			}
		}
	}
	return nodes
}

// solveNodes finds the voltages of the nodes to be solved: each by itself, except those of
// a group.
func (s *Socket) solveNodes() {
	alone := s.every()
	for i := range s.groups {
		g := &s.groups[i]
		if alone &^= g.all; s.dirty&g.all != 0 {
			s.dirty |= g.all
			s.solveGroup(g)
		}
	}
	for rest := s.dirty & alone; rest != 0; rest &= rest - 1 {
		s.solveNode(&s.nodes[bits.TrailingZeros64(rest)])
	}
}

// gather notes what is at the nodes of a group, but for capacitors, and between them.
func (s *Socket) gather(g *group) {
	for i, n := range g.nodes {
		s.endAt(n, &g.ends[i])
	}
	for i, k := range g.between {
		c := s.couplings[k]
		g.couplings[i] = coupling{g.number[c.from], g.number[c.to], c.siemens}
	}
}

// endAt notes what is at a node, but for capacitors.
func (s *Socket) endAt(n *node, e *end) {
	e.amps, e.siemens = s.fromAdapter(n)
	e.elements = append(e.elements[:0], s.elementsAt(n)...)
}

func (s *Socket) solveGroup(g *group) {
	s.gather(g)
	for i, n := range g.nodes {
		e := &g.ends[i]
		e.heldAmps, e.heldSiemens = s.fromCapacitors(n)
		n.floating = e.siemens+e.heldSiemens == 0 && len(e.elements) == 0
	}
	spread(g.couplings, func(from, to int) bool {
		held := !g.nodes[from].floating || !g.nodes[to].floating
		changed := held && (g.nodes[from].floating || g.nodes[to].floating)
		if held {
			g.nodes[from].floating, g.nodes[to].floating = false, false
		}
		return changed
	})
	// Nodes that nothing holds take the charge of one of them, as if that one were held there.
	loose := uint64(0)
	for i, n := range g.nodes {
		if !n.floating || loose>>i&1 != 0 {
			continue
		}
		loose |= 1 << i
		g.ends[i].amps, g.ends[i].siemens = s.charged(), 1
		spread(g.couplings, func(from, to int) bool {
			ends := uint64(1)<<from | 1<<to
			changed := loose&ends != 0 && loose&ends != ends
			if changed {
				loose |= ends
			}
			return changed
		})
	}
	clear(g.volts)
	g.solve()
	for i, n := range g.nodes {
		n.volts = g.volts[i]
		n.flow = s.tally(n)
	}
}

// spread carries something over couplings that conduct until it is everywhere.
func spread(couplings []coupling, over func(from, to int) (changed bool)) {
	for again := true; again; {
		again = false
		for _, c := range couplings {
			if c.siemens > 0 && over(c.from, c.to) {
				again = true
			}
		}
	}
}

// An end is what a node of a group has besides the couplings: a linear part, as for
// solve, that of capacitors, and elements.
type end struct {
	amps, siemens         float64
	heldAmps, heldSiemens float64
	elements              []element
}

// at gives the current into a node at v volts, A, and by how much it falls with the voltage, S.
func (e *end) at(v float64) (amps, slope float64) {
	slope = e.siemens + e.heldSiemens
	amps = e.amps + e.heldAmps - slope*v
	for i := range e.elements {
		current, s := e.elements[i].at(v)
		amps, slope = amps+current, slope+s
	}
	return amps, slope
}

// A mesh is ends with resistances between them, and what it is solved in.
type mesh struct {
	ends      []end
	couplings []coupling // by number in the ends
	volts     []float64

	amps, step, there []float64
	slopes            [][]float64
}

func newMesh(ends, couplings int) mesh {
	m := mesh{ends: make([]end, ends), couplings: make([]coupling, couplings), slopes: make([][]float64, ends)}
	for _, v := range []*[]float64{&m.volts, &m.amps, &m.step, &m.there} {
		*v = make([]float64, ends)
	}
	for i := range m.slopes {
		m.slopes[i] = make([]float64, ends)
	}
	return m
}

// solve finds the voltages at which the currents at every end cancel; it begins with those that are
// there. There must be something at one of them.
//
// The currents fall with the voltages: they are the downward slopes of a convex
// function, so Newton's method finds its one lowest point if no step goes past the
// lowest point on its way by more than it came down.
func (m *mesh) solve() {
	m.currents(m.volts)
	for range 200 {
		copy(m.step, m.amps)
		eliminateFrom(m.slopes, m.step)
		down := dot(m.amps, m.step)
		scale, most := 1.0, 0.0
		for range 40 {
			for i, v := range m.volts {
				m.there[i] = v + scale*m.step[i]
			}
			m.currents(m.there)
			if dot(m.amps, m.step) >= -down/2 {
				break
			}
			scale /= 2
		}
		copy(m.volts, m.there)
		for _, v := range m.step {
			most = max(most, math.Abs(v))
		}
		if most < 1e-8 {
			return
		}
	}
}

// currents finds what flows into each end at some voltages, A, and by how much that falls with
// each of the voltages, S.
func (m *mesh) currents(volts []float64) {
	for i := range m.ends {
		clear(m.slopes[i])
		m.amps[i], m.slopes[i][i] = m.ends[i].at(volts[i])
	}
	for _, c := range m.couplings {
		flow := (volts[c.from] - volts[c.to]) * c.siemens
		m.amps[c.from] -= flow
		m.amps[c.to] += flow
		m.slopes[c.from][c.from] += c.siemens
		m.slopes[c.to][c.to] += c.siemens
		m.slopes[c.from][c.to] -= c.siemens
		m.slopes[c.to][c.from] -= c.siemens
	}
}

// eliminate solves linear equations whose matrix is diagonally dominant, so that no
// pivoting is needed. It destroys the matrix.
func eliminate(matrix [][]float64, right []float64) []float64 {
	x := append([]float64(nil), right...)
	eliminateFrom(matrix, x)
	return x
}

// eliminateFrom does so with the right-hand side in x, where it leaves the solution.
func eliminateFrom(matrix [][]float64, x []float64) {
	for i, pivot := range matrix {
		for k := i + 1; k < len(matrix); k++ {
			f := matrix[k][i] / pivot[i]
			for j := i; j < len(matrix); j++ {
				matrix[k][j] -= f * pivot[j]
			}
			x[k] -= f * x[i]
		}
	}
	for i := len(matrix) - 1; i >= 0; i-- {
		for j := i + 1; j < len(matrix); j++ {
			x[i] -= matrix[i][j] * x[j]
		}
		x[i] /= matrix[i][i]
	}
}

func dot(a, b []float64) (sum float64) {
	for i := range a {
		sum += a[i] * b[i]
	}
	return sum
}
