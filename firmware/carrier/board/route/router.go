package main

import (
	"math"
	"slices"

	"chipassay/firmware/carrier/board"
)

// A net is a tree to route.
type net struct {
	name   string
	number int32
	groups [][]int // nodes of each pad; pads that a plane joins are one group

	paths [][]int // steps from node to node, a node of the bottom layer is size() higher
	vias  []int   // nodes of the top layer
	// What the tree takes from others' tracks and vias, once each.
	takenTrack, takenVia []int
}

type router struct {
	grid *grid
	nets []*net

	// By node of both layers: how many nets need it free of others' tracks or vias.
	usedTrack, usedVia []int16
	history            []float32 // dearer for every round in which it was disputed
	dispute            float32   // price of sharing

	search search
}

// directions are the eight neighbours; even ones are straight.
var directions = [8]struct{ x, y int }{{1, 0}, {1, 1}, {0, 1}, {-1, 1}, {-1, 0}, {-1, -1}, {0, -1}, {1, -1}}

// reaches are the offsets within which two middles are too near for each other.
var (
	trackToTrack = offsets(board.TrackWidth + board.Clearance)
	viaToTrack   = offsets(board.ViaDiameter/2 + board.Clearance + board.TrackWidth/2)
	viaToVia     = offsets(board.ViaDiameter + board.Clearance)
)

func offsets(reach int) []struct{ x, y int } {
	var all []struct{ x, y int }
	for y := -5; y <= 5; y++ {
		for x := -5; x <= 5; x++ {
			if math.Hypot(float64(x), float64(y))*pitch < float64(reach) {
				all = append(all, struct{ x, y int }{x, y})
			}
		}
	}
	return all
}

func newRouter(b *board.Board) *router {
	names := b.NetNames()
	numbers := map[string]int32{}
	for i, name := range names {
		numbers[name] = int32(i)
	}
	r := &router{grid: newGrid(b, numbers)}
	size := 2 * r.grid.size()
	r.usedTrack, r.usedVia = make([]int16, size), make([]int16, size)
	r.history = make([]float32, size)
	r.search.init(size)
	for i, name := range names {
		n := &net{name: name, number: int32(i)}
		var plane []int
		for _, p := range b.Pads {
			if p.Net != name {
				continue
			}
			nodes := r.grid.inside(p.Shape)
			if b.OnPlane(p) {
				plane = append(plane, nodes...)
			} else {
				n.groups = append(n.groups, nodes)
			}
		}
		if plane != nil {
			n.groups = append([][]int{plane}, n.groups...)
		}
		if len(n.groups) > 1 {
			r.nets = append(r.nets, n)
		}
	}
	return r
}

// round routes every net in the first round, later those that share room, and
// reports how many still do.
func (r *router) round(round int) int {
	r.dispute = 0.5 * float32(math.Pow(1.3, float64(min(round, 20)-1)))
	for _, n := range r.nets {
		if round > 1 && !r.disputed(n) {
			continue
		}
		r.lift(n)
		r.route(n)
		r.lay(n)
	}
	count := 0
	for _, n := range r.nets {
		if r.disputed(n) {
			count++
			r.raise(n)
		}
	}
	return count
}

// tidy routes each net once more with all others in place, and keeps what it finds
// if no room is shared: the prices of the disputes are gone, so it is shorter.
func (r *router) tidy() {
	clear(r.history)
	r.dispute = 1000
	for _, n := range r.nets {
		paths, vias := n.paths, n.vias
		r.lift(n)
		r.route(n)
		r.lay(n)
		if r.disputed(n) {
			r.lift(n)
			n.paths, n.vias = paths, vias
			r.lay(n)
		}
	}
}

// disputed reports whether a net's copper is too near another's.
func (r *router) disputed(n *net) bool {
	size := r.grid.size()
	for _, path := range n.paths {
		for _, node := range path {
			if r.usedTrack[node] > 1 {
				return true
			}
		}
	}
	return slices.ContainsFunc(n.vias, func(v int) bool { return r.usedVia[v] > 1 || r.usedVia[v+size] > 1 })
}

// raise makes what is disputed dearer for the rounds to come.
func (r *router) raise(n *net) {
	size := r.grid.size()
	for _, path := range n.paths {
		for _, node := range path {
			if r.usedTrack[node] > 1 {
				r.history[node] += 0.3
			}
		}
	}
	for _, v := range n.vias {
		for _, node := range []int{v, v + size} {
			if r.usedVia[node] > 1 {
				r.history[node] += 0.3
			}
		}
	}
}

// lift takes a net off the board.
func (r *router) lift(n *net) {
	for _, node := range n.takenTrack {
		r.usedTrack[node]--
	}
	for _, node := range n.takenVia {
		r.usedVia[node]--
	}
	n.paths, n.vias, n.takenTrack, n.takenVia = nil, nil, n.takenTrack[:0], n.takenVia[:0]
}

// lay notes what a routed net takes.
func (r *router) lay(n *net) {
	size := r.grid.size()
	take := func(node int, reach []struct{ x, y int }, list *[]int) {
		layer, at := node/size*size, node%size
		x, y := at%r.grid.wide, at/r.grid.wide
		for _, o := range reach {
			if u, v := x+o.x, y+o.y; u >= 0 && v >= 0 && u < r.grid.wide && v < r.grid.high {
				*list = append(*list, layer+v*r.grid.wide+u)
			}
		}
	}
	for _, path := range n.paths {
		for _, node := range path {
			take(node, trackToTrack, &n.takenTrack)
			take(node, viaToTrack, &n.takenVia)
		}
	}
	for _, v := range n.vias {
		for _, node := range []int{v, v + size} {
			take(node, viaToTrack, &n.takenTrack)
			take(node, viaToVia, &n.takenVia)
		}
	}
	for _, list := range []*[]int{&n.takenTrack, &n.takenVia} {
		slices.Sort(*list)
		*list = slices.Compact(*list)
	}
	for _, node := range n.takenTrack {
		r.usedTrack[node]++
	}
	for _, node := range n.takenVia {
		r.usedVia[node]++
	}
}

// route grows a net's tree: always to the pad nearest to it.
func (r *router) route(n *net) {
	size := r.grid.size()
	both := func(nodes []int) []int {
		all := slices.Clone(nodes)
		for _, node := range nodes {
			all = append(all, node+size)
		}
		return all
	}
	tree := both(n.groups[0])
	left := slices.Clone(n.groups[1:])
	for len(left) > 0 {
		next := r.nearest(tree, left)
		path := r.search.find(r, n, tree, both(left[next]))
		left = slices.Delete(left, next, next+1)
		if path == nil {
			continue // the check of connections will say so
		}
		tree = append(tree, path...)
		n.addPath(path, size)
		left = slices.DeleteFunc(left, func(group []int) bool {
			return slices.ContainsFunc(group, func(node int) bool {
				return slices.Contains(path, node) || slices.Contains(path, node+size)
			})
		})
	}
}

// addPath splits a path at its vias.
func (n *net) addPath(path []int, size int) {
	start := 0
	for i := 1; i <= len(path); i++ {
		if i == len(path) || path[i]%size == path[i-1]%size {
			n.paths = append(n.paths, path[start:i])
			if i < len(path) {
				n.vias = append(n.vias, path[i]%size)
			}
			start = i
		}
	}
}

// nearest gives the group nearest to the tree.
func (r *router) nearest(tree []int, groups [][]int) int {
	best, least := 0, math.MaxInt
	size, wide := r.grid.size(), r.grid.wide
	for i, group := range groups {
		x, y := group[0]%wide, group[0]/wide
		for _, node := range tree {
			at := node % size
			if d := abs(at%wide-x) + abs(at/wide-y); d < least {
				best, least = i, d
			}
		}
	}
	return best
}

func abs(x int) int { return max(x, -x) }

// copper puts the routed nets on the board.
func (r *router) copper(b *board.Board) {
	b.Tracks, b.Vias = nil, nil
	size := r.grid.size()
	for _, n := range r.nets {
		for _, path := range n.paths {
			layer := board.Top
			if path[0] >= size {
				layer = board.Bottom
			}
			start := 0
			for i := 1; i < len(path); i++ {
				if i+1 < len(path) && path[i+1]-path[i] == path[i]-path[i-1] {
					continue
				}
				b.Tracks = append(b.Tracks, board.Track{Net: n.name, Layer: layer, Width: board.TrackWidth,
					From: r.grid.point(path[start] % size), To: r.grid.point(path[i] % size)})
				start = i
			}
		}
		for _, v := range n.vias {
			b.Vias = append(b.Vias, board.Via{Net: n.name, At: r.grid.point(v)})
		}
	}
}
