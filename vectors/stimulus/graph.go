package stimulus

import (
	"slices"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// A graph is the state graph of one component: a node for each state with each
// combination of input levels, a transition for each legal change of one pin.
type graph struct {
	nodes map[node]int   // index of each node
	out   [][]transition // of each node
	edges int
	start int
}

// A node is a state of the component's registers, one character a bit, with its input levels.
type node struct {
	state string
	drive part.Pins
}

type transition struct {
	toggle part.Pins
	to     int
	taken  bool
}

// explore builds the graph from where the walker stands. Ok is false where it
// is too large, or where the state is not wholly known.
func explore(w *walker, r *Rules, k logic.Component, moves part.Pins) (g *graph, ok bool) {
	if w.unknown(k) > 0 || moves.Len() > 12 || hasBidirectional(w.c.Variant) {
		return nil, false
	}
	e := &explorer{w: w, r: r, k: k, moves: moves, g: &graph{nodes: map[node]int{}}, probe: newWalker(w.c, &Sequence{Variant: w.c.Variant, Inputs: w.s.Inputs, Outputs: w.s.Outputs})}
	state := make([]logic.Value, len(w.c.State))
	for i := range state {
		state[i] = w.m.State(i).Lane(0)
	}
	e.find(e.nodeOf(state, w.drive))
	for len(e.pending) > 0 {
		n := e.pending[0]
		e.pending = e.pending[1:]
		e.expand(n)
		if len(e.g.nodes) > maxTourNodes || e.g.edges > maxTourEdges {
			return nil, false
		}
	}
	return e.g, true
}

type explorer struct {
	w, probe *walker
	r        *Rules
	k        logic.Component
	moves    part.Pins
	g        *graph
	pending  []node
}

func (e *explorer) find(n node) int {
	if i, ok := e.g.nodes[n]; ok {
		return i
	}
	i := len(e.g.out)
	e.g.nodes[n] = i
	e.g.out = append(e.g.out, nil)
	e.pending = append(e.pending, n)
	return i
}

// nodeOf is the node of a state of all registers.
func (e *explorer) nodeOf(state []logic.Value, drive part.Pins) node {
	text := make([]byte, len(e.k.State))
	for i, bit := range e.k.State {
		text[i] = state[bit].String()[0]
	}
	return node{string(text), drive}
}

// expand adds the edges that leave a node.
func (e *explorer) expand(n node) {
	e.place(n)
	legal := e.probe.legalMoves(e.r, e.moves)
	from := e.g.nodes[n]
	for i, state := range e.probe.successors(legal) {
		to := e.find(e.nodeOf(state, legal[i]))
		e.g.out[from] = append(e.g.out[from], transition{toggle: n.drive ^ legal[i], to: to})
		e.g.edges++
	}
}

// place puts the probe into a node; registers outside the component stay as the walker has them.
func (e *explorer) place(n node) {
	state := make([]logic.Word, len(e.w.c.State))
	for i := range state {
		state[i] = logic.Splat(e.w.m.State(i).Lane(0))
	}
	for i, bit := range e.k.State {
		v := logic.X
		if n.state[i] != 'x' {
			v = logic.FromBool(n.state[i] == '1')
		}
		state[bit] = logic.Splat(v)
	}
	e.probe.drive = n.drive
	for _, pin := range e.w.c.InputPins {
		e.probe.m.Set(pin, logic.Splat(logic.FromBool(n.drive.Has(pin))))
	}
	e.probe.m.Restore(state)
}

// tour takes the chip over every transition of the graph at least once.
func (w *walker) tour(g *graph) (steps int) {
	for _, t := range g.tour() {
		w.toggle(t.toggle)
		steps++
	}
	return steps
}

// tour takes every transition of the graph that can be reached at least once:
// always on to one not yet taken, by the shortest way where none leaves the node
// at hand. It is a directed postman tour, or somewhat longer than the shortest.
func (g *graph) tour() (way []transition) {
	at, s := g.start, &search{came: make([]hop, len(g.out))}
	for {
		hops := g.wayToFresh(at, s)
		if hops == nil {
			return way
		}
		for _, i := range hops {
			t := &g.out[at][i]
			t.taken = true
			way = append(way, *t)
			at = t.to
		}
	}
}

// lowerBound is a number of steps that no tour of all transitions goes below:
// each once, and one more for each way into a node beyond the ways out of it,
// for every one of these has to be left again.
func (g *graph) lowerBound() int {
	surplus := make([]int, len(g.out))
	bound := 0
	for n, out := range g.out {
		surplus[n] -= len(out)
		for _, t := range out {
			surplus[t.to]++
			bound++
		}
	}
	for _, s := range surplus {
		bound += max(s, 0)
	}
	return bound - 1 // the tour may end where it is
}

// A search notes from where it came to each node; it is used again for the next one.
type search struct {
	came  []hop
	turn  int // the number of this search, from 1 on
	queue []int
}

// A hop is the transition by which a search came to a node.
type hop struct{ node, transition, turn int }

// wayToFresh finds the shortest way from a node over a transition not yet taken, as
// the index of the transition to take at each node; nil where none can be reached.
func (g *graph) wayToFresh(from int, s *search) []int {
	s.turn++
	s.came[from] = hop{-1, -1, s.turn}
	s.queue = append(s.queue[:0], from)
	for at := 0; at < len(s.queue); at++ {
		n := s.queue[at]
		for i := range g.out[n] {
			e := &g.out[n][i]
			if !e.taken {
				way := []int{i}
				for at := n; at != from; at = s.came[at].node {
					way = append(way, s.came[at].transition)
				}
				slices.Reverse(way)
				return way
			}
			if s.came[e.to].turn != s.turn {
				s.came[e.to] = hop{n, i, s.turn}
				s.queue = append(s.queue, e.to)
			}
		}
	}
	return nil
}
