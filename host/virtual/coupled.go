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
	nodes     []*node
	all       uint64  // the same by number in the socket
	couplings []int   // by number in the socket's
	number    [64]int // of each of the socket's nodes in nodes
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
		g := group{all: s.coupledWith(1 << c.from)}
		taken |= g.all
		for all := g.all; all != 0; all &= all - 1 {
			i := bits.TrailingZeros64(all)
			g.number[i] = len(g.nodes)
			g.nodes = append(g.nodes, &s.nodes[i])
		}
		for k, c := range s.couplings {
			if g.all>>c.from&1 != 0 {
				g.couplings = append(g.couplings, k)
			}
		}
		s.groups = append(s.groups, g)
	}
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

func (s *Socket) solveGroup(g *group) {
	ends, couplings := make([]end, len(g.nodes)), make([]coupling, len(g.couplings))
	for i, k := range g.couplings {
		c := s.couplings[k]
		couplings[i] = coupling{g.number[c.from], g.number[c.to], c.siemens}
	}
	for i, n := range g.nodes {
		e := &ends[i]
		e.amps, e.siemens = s.fromAdapter(n)
		e.elements = append(e.elements, s.elementsAt(n)...)
		n.floating = e.siemens == 0 && len(e.elements) == 0
	}
	spread(couplings, func(from, to int) bool {
		held := !g.nodes[from].floating || !g.nodes[to].floating
		changed := held && (g.nodes[from].floating || g.nodes[to].floating)
		if held {
			g.nodes[from].floating, g.nodes[to].floating = false, false
		}
		return changed
	})
	// Nodes that nothing holds take the charge of one of them, as if that one were held there.
	loose := make([]bool, len(ends))
	for i, n := range g.nodes {
		if !n.floating || loose[i] {
			continue
		}
		loose[i] = true
		ends[i].amps, ends[i].siemens = s.charged(), 1
		spread(couplings, func(from, to int) bool {
			changed := loose[from] != loose[to]
			loose[from] = loose[from] || loose[to]
			loose[to] = loose[from]
			return changed
		})
	}
	volts := solveTogether(ends, couplings)
	for i, n := range g.nodes {
		n.volts = volts[i]
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
// solve, and elements.
type end struct {
	amps, siemens float64
	elements      []element
}

// solveTogether finds the voltages at which the currents at every node of a group
// cancel. There must be something at one of them.
//
// The currents fall with the voltages: they are the downward slopes of a convex
// function, so Newton's method finds its one lowest point if no step goes past the
// lowest point on its way by more than it came down.
func solveTogether(ends []end, couplings []coupling) []float64 {
	volts := make([]float64, len(ends))
	for range 200 {
		amps, slopes := currents(ends, couplings, volts)
		step := eliminate(slopes, amps)
		down := dot(amps, step)
		scale, most := 1.0, 0.0
		for range 40 {
			past, _ := currents(ends, couplings, moved(volts, step, scale))
			if dot(past, step) >= -down/2 {
				break
			}
			scale /= 2
		}
		volts = moved(volts, step, scale)
		for _, v := range step {
			most = max(most, math.Abs(v))
		}
		if most < 1e-8 {
			break
		}
	}
	return volts
}

// currents gives what flows into each node of a group at some voltages, A, and by
// how much that falls with each of the voltages, S.
func currents(ends []end, couplings []coupling, volts []float64) (amps []float64, slopes [][]float64) {
	amps, slopes = make([]float64, len(ends)), make([][]float64, len(ends))
	for i, e := range ends {
		slopes[i] = make([]float64, len(ends))
		amps[i], slopes[i][i] = e.amps-e.siemens*volts[i], e.siemens
		for j := range e.elements {
			current, slope := e.elements[j].at(volts[i])
			amps[i] += current
			slopes[i][i] += slope
		}
	}
	for _, c := range couplings {
		flow := (volts[c.from] - volts[c.to]) * c.siemens
		amps[c.from] -= flow
		amps[c.to] += flow
		slopes[c.from][c.from] += c.siemens
		slopes[c.to][c.to] += c.siemens
		slopes[c.from][c.to] -= c.siemens
		slopes[c.to][c.from] -= c.siemens
	}
	return amps, slopes
}

// eliminate solves linear equations whose matrix is diagonally dominant, so that no
// pivoting is needed. It destroys the matrix.
func eliminate(matrix [][]float64, right []float64) []float64 {
	x := append([]float64(nil), right...)
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
	return x
}

func dot(a, b []float64) (sum float64) {
	for i := range a {
		sum += a[i] * b[i]
	}
	return sum
}

func moved(volts, step []float64, scale float64) []float64 {
	to := make([]float64, len(volts))
	for i := range volts {
		to[i] = volts[i] + scale*step[i]
	}
	return to
}
