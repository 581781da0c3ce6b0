package main

// What a step costs.
const (
	straight = 1.0
	slanting = 1.414
	across   = 0.35 // more, for a step across the layer's direction
	bend     = 0.3
	drill    = 12.0
)

// A search is the memory of one search for a path (A*).
type search struct {
	cost    []float32
	from    []int32
	heading []int8
	seen    []int32 // search in which the node was reached
	done    []int32
	target  []int32
	run     int32
	heap    []entry
}

type entry struct {
	estimate float32
	node     int32
}

func (s *search) init(size int) {
	s.cost, s.from, s.heading = make([]float32, size), make([]int32, size), make([]int8, size)
	s.seen, s.done, s.target = make([]int32, size), make([]int32, size), make([]int32, size)
}

// find gives the cheapest path from any node of the tree to any of the targets;
// nil if there is none.
func (s *search) find(r *router, n *net, tree, targets []int) []int {
	s.run++
	s.heap = s.heap[:0]
	g := r.grid
	size := g.size()
	lowX, lowY, highX, highY := g.wide, g.high, 0, 0
	for _, t := range targets {
		s.target[t] = s.run
		x, y := t%size%g.wide, t%size/g.wide
		lowX, lowY, highX, highY = min(lowX, x), min(lowY, y), max(highX, x), max(highY, y)
	}
	estimate := func(x, y int) float32 {
		dx, dy := max(lowX-x, x-highX, 0), max(lowY-y, y-highY, 0)
		return float32(max(dx, dy)) + 0.414*float32(min(dx, dy))
	}
	for _, node := range tree {
		if s.seen[node] != s.run {
			s.seen[node], s.cost[node], s.from[node], s.heading[node] = s.run, 0, -1, -1
			s.push(entry{estimate(node%size%g.wide, node%size/g.wide), int32(node)})
		}
	}
	reach := func(node, from int, heading int8, cost float32) {
		if s.seen[node] == s.run && s.cost[node] <= cost {
			return
		}
		s.seen[node], s.cost[node], s.from[node], s.heading[node] = s.run, cost, int32(from), heading
		s.push(entry{cost + estimate(node%size%g.wide, node%size/g.wide), int32(node)})
	}
	for len(s.heap) > 0 {
		node := int(s.pop().node)
		if s.done[node] == s.run {
			continue
		}
		s.done[node] = s.run
		if s.target[node] == s.run {
			return s.path(node)
		}
		r.expand(n, node, s.cost[node], s.heading[node], reach)
	}
	return nil
}

// expand reaches for the neighbours of a node.
func (r *router) expand(n *net, node int, cost float32, heading int8, reach func(node, from int, heading int8, cost float32)) {
	g := r.grid
	size := g.size()
	layer, at := node/size, node%size
	x, y := at%g.wide, at/g.wide
	open := func(owner int32) bool { return owner == free || owner == n.number }
	for d, o := range directions {
		u, v := x+o.x, y+o.y
		if u < 0 || v < 0 || u >= g.wide || v >= g.high {
			continue
		}
		to := v*g.wide + u
		if !open(g.track[to]) {
			continue
		}
		step := float32(straight)
		if o.x != 0 && o.y != 0 {
			if !open(g.slant[min(y, v)*g.wide+min(x, u)]) {
				continue
			}
			step = slanting
		} else if (o.x == 0) == (layer == 0) {
			step += across
		}
		if heading >= 0 && int(heading) != d {
			step += bend
		}
		to += layer * size
		step *= (1 + r.history[to]) * (1 + r.dispute*float32(r.usedTrack[to]))
		reach(to, node, int8(d), cost+step)
	}
	if !open(g.via[at]) || n.crowded(at, g.wide) {
		return
	}
	other := at + (1-layer)*size
	shared := float32(r.usedVia[at] + r.usedVia[at+size])
	step := drill * (1 + r.history[at] + r.history[at+size]) * (1 + r.dispute*shared)
	reach(other, node, -1, cost+step)
}

// crowded reports whether a via of the net's own is too near for another hole.
func (n *net) crowded(at, wide int) bool {
	for _, v := range n.vias {
		if dx, dy := v%wide-at%wide, v/wide-at/wide; dx*dx+dy*dy < 7 && v != at {
			return true
		}
	}
	return false
}

func (s *search) path(node int) []int {
	var path []int
	for at := int32(node); at >= 0; at = s.from[at] {
		path = append(path, int(at))
	}
	return path
}

func (s *search) push(e entry) {
	s.heap = append(s.heap, e)
	for i := len(s.heap) - 1; i > 0; {
		parent := (i - 1) / 2
		if s.heap[parent].estimate <= s.heap[i].estimate {
			return
		}
		s.heap[parent], s.heap[i] = s.heap[i], s.heap[parent]
		i = parent
	}
}

func (s *search) pop() entry {
	top, last := s.heap[0], len(s.heap)-1
	s.heap[0] = s.heap[last]
	s.heap = s.heap[:last]
	for i := 0; ; {
		least := i
		for child := 2*i + 1; child <= 2*i+2 && child < last; child++ {
			if s.heap[child].estimate < s.heap[least].estimate {
				least = child
			}
		}
		if least == i {
			return top
		}
		s.heap[least], s.heap[i] = s.heap[i], s.heap[least]
		i = least
	}
}
