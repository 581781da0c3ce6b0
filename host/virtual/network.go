package virtual

import (
	"math"
	"math/bits"
	"slices"

	"chipassay/vectors/part"
)

// A network is the socket with a chip that has no supply: what is inside the
// chip is its junctions, and the two supply nodes of the die, which couple all
// its pads. Nodes are numbered as the socket's, then the die's where a broken or open
// bond wire parts them from their pins.
type network struct {
	branches []branch
	size     int
	order    []int // of elimination, the die's supply nodes last
	pads     int   // how many of them are not supply nodes
	vcc, gnd int   // the die's supply nodes
	fixed    int   // how many branches are always there
	alive    alive // what the rest are for
	volts    []float64
	ends     []end     // what the adapter has at the socket's nodes
	rows     []float64 // scratch: size equations of size+1 coefficients
}

// networkOf connects a chip's branches to the nodes of its socket.
func (s *Socket) networkOf(c *Chip) *network {
	w := &network{size: len(s.nodes)}
	dieNode := func(role part.Role) int {
		for i := range c.pads {
			if c.role(i+1) == role && c.pads[i].bonded && !c.pads[i].away {
				return s.number(c.position(i + 1))
			}
		}
		w.size++
		return w.size - 1
	}
	vcc, gnd := dieNode(part.Supply), dieNode(part.Ground)
	w.branches = c.dieBranches(func(p *pad) int { return s.number(c.position(p.pin)) }, vcc, gnd)
	for i := range c.pads {
		if p := &c.pads[i]; p.bonded && c.role(p.pin) != part.Supply && c.role(p.pin) != part.Ground {
			w.branches = append(w.branches, c.padBranches(p, s.number(c.position(p.pin)), vcc, gnd)...)
		}
	}
	w.vcc, w.gnd, w.fixed = vcc, gnd, len(w.branches)
	// Where a resistance joins two pads, elimination takes them for supply nodes too:
	// every other branch ends at one of those.
	last := []int{vcc, gnd}
	for _, c := range s.couplings {
		last = append(last, c.from, c.to)
	}
	slices.Sort(last)
	last = slices.Compact(last)
	for i := range w.size {
		if !slices.Contains(last, i) {
			w.order = append(w.order, i)
		}
	}
	w.pads = len(w.order)
	w.order = append(w.order, last...)
	w.volts, w.rows = make([]float64, w.size), make([]float64, w.size*(w.size+1))
	return w
}

// largestStep, V, keeps Newton's method from jumping over the knee of a junction.
const largestStep = 0.5

// solve finds the voltages of all nodes at which the currents cancel. Linear
// gives what the adapter has at the socket's node i: a current, A, and a
// conductance to ground, S. The last solution is where it starts.
func (w *network) solve(linear func(i int) (amps, siemens float64), couplings []coupling) {
	for range 100 {
		clear(w.rows)
		for i := range w.size {
			amps, siemens := linear(i)
			siemens += leak
			w.rows[i*(w.size+1)+i] += siemens
			w.rows[i*(w.size+1)+w.size] += amps - siemens*w.volts[i]
		}
		for i := range w.branches {
			w.stamp(&w.branches[i])
		}
		for _, c := range couplings {
			if c.siemens > 0 {
				w.stamp(&branch{from: c.from, to: c.to, ohms: 1 / c.siemens})
			}
		}
		if w.step() < 1e-7 {
			return
		}
	}
}

// stamp adds a branch to the equations: slopes on the left, the rest on the right.
func (w *network) stamp(b *branch) {
	if b.from == b.to || b.off {
		return
	}
	width := w.size + 1
	amps, slope := 0.0, 0.0
	if b.opening == 0 {
		amps, slope = b.at(w.volts[b.from] - w.volts[b.to])
	} else {
		byInput := 0.0
		amps, slope, byInput = b.valve(w.volts[b.from]-w.volts[b.to], w.volts[b.control]-w.volts[b.to])
		for _, end := range [...]struct {
			node int
			by   float64
		}{{b.from, byInput}, {b.to, -byInput}} {
			w.rows[end.node*width+b.control] += end.by
			w.rows[end.node*width+b.to] -= end.by
		}
	}
	w.rows[b.from*width+b.from] += slope
	w.rows[b.to*width+b.to] += slope
	w.rows[b.from*width+b.to] -= slope
	w.rows[b.to*width+b.from] -= slope
	w.rows[b.from*width+w.size] -= amps
	w.rows[b.to*width+w.size] += amps
	if b.gain != 0 {
		w.stampTransistor(b)
	}
}

// stampTransistor adds what a transistor takes at its collector.
func (w *network) stampTransistor(b *branch) {
	base, collector := w.volts[b.from]-w.volts[b.to], w.volts[b.collector]-w.volts[b.to]
	amps, byBase, byCollector := b.collected(base, collector)
	width := w.size + 1
	for _, end := range [...]struct {
		node int
		sign float64
	}{{b.collector, 1}, {b.to, -1}} {
		row := w.rows[end.node*width : end.node*width+width]
		row[b.from] += end.sign * byBase
		row[b.collector] += end.sign * byCollector
		row[b.to] -= end.sign * (byBase + byCollector)
		row[w.size] -= end.sign * amps
	}
}

// step solves the linear equations by elimination, moves the voltages, and reports
// by how much, V. Every branch ends at a supply node, so a pad's equation meets
// those of the supply nodes alone, and elimination fills in nothing. The matrix is
// diagonally dominant: no pivoting is needed.
func (w *network) step() float64 {
	width := w.size + 1
	row := func(i int) []float64 { return w.rows[i*width : (i+1)*width] }
	after := func(at int) []int { return w.order[max(at+1, w.pads):] }
	for at, i := range w.order {
		pivot := row(i)
		for _, k := range after(at) {
			below := row(k)
			f := below[i] / pivot[i]
			for _, j := range after(at) {
				below[j] -= f * pivot[j]
			}
			below[w.size] -= f * pivot[w.size]
		}
	}
	largest := 0.0
	for at, i := range slices.Backward(w.order) {
		r := row(i)
		for _, j := range after(at) {
			r[w.size] -= r[j] * row(j)[w.size]
		}
		r[w.size] /= r[i]
		largest = max(largest, math.Abs(r[w.size]))
	}
	scale := min(1, largestStep/max(largest, largestStep))
	for i := range w.size {
		w.volts[i] += scale * row(i)[w.size]
	}
	return largest
}

// number is the number of the node at a position.
func (s *Socket) number(position int) int {
	return slices.IndexFunc(s.nodes, func(n node) bool { return n.positions.Has(position) })
}

// livingRounds bounds how often a chip that works on its pins' currents is solved again.
const livingRounds = 8

// solveUnpowered finds the voltages of all nodes while the chip has no supply.
func (s *Socket) solveUnpowered() {
	s.gatherUnpowered()
	s.holdUnpowered()
	s.solveNetwork()
	for i := range s.nodes {
		n, e := &s.nodes[i], &s.network.ends[i]
		n.floating = e.siemens+e.heldSiemens == 0 && !n.odd
	}
	s.takeUnpowered()
	spread(s.couplings, func(from, to int) bool { // what holds one holds the other
		a, b := &s.nodes[from], &s.nodes[to]
		changed := a.floating != b.floating
		a.floating = a.floating && b.floating
		b.floating = a.floating
		return changed
	})
}

// gatherUnpowered notes what the adapter has at all nodes, but for capacitors.
func (s *Socket) gatherUnpowered() {
	if len(s.network.ends) < len(s.nodes) {
		s.network.ends = make([]end, len(s.nodes))
	}
	for i := range s.nodes {
		s.endAt(&s.nodes[i], &s.network.ends[i])
	}
}

// holdUnpowered notes what the capacitors are solved as.
func (s *Socket) holdUnpowered() {
	for rest := s.clips.slow; rest != 0; rest &= rest - 1 {
		i := bits.TrailingZeros64(rest)
		e := &s.network.ends[i]
		e.heldAmps, e.heldSiemens = s.fromCapacitors(&s.nodes[i])
	}
}

// solveNetwork solves the network as it was gathered.
func (s *Socket) solveNetwork() {
	w := s.network
	linear := func(i int) (amps, siemens float64) {
		if i >= len(w.ends) {
			return 0, 0
		}
		e := &w.ends[i]
		amps, siemens = e.amps+e.heldAmps, e.siemens+e.heldSiemens
		v := w.volts[i]
		for k := range e.elements { // a straight line at the voltage where the search stands
			current, slope := e.elements[k].at(v)
			amps, siemens = amps+current+slope*v, siemens+slope
		}
		return amps, siemens
	}
	w.solve(linear, s.couplings)
	for range livingRounds {
		if s.chip == nil || !s.enliven() {
			break
		}
		w.solve(linear, s.couplings)
	}
}

// takeUnpowered gives the nodes the voltages that were found.
func (s *Socket) takeUnpowered() {
	for i := range s.nodes {
		n := &s.nodes[i]
		n.volts = s.network.volts[i]
		n.flow = s.tally(n)
	}
}
