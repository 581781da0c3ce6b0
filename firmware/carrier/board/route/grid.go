package main

import (
	"math"

	"chipassay/firmware/carrier/board"
)

const (
	pitch  = 254 // µm
	margin = 6   // µm: a slanting track comes nearer between two nodes than at them

	trackReach = board.TrackWidth/2 + board.Clearance  // from a track's middle to other copper
	viaReach   = board.ViaDiameter/2 + board.Clearance // from a via's middle to other copper
)

// Who may use a node: everybody, nobody, or the net of that number.
const (
	free   = -1
	closed = -2
)

// A grid is the nodes of both outer layers. What the pads forbid is the same on both.
type grid struct {
	wide, high int
	track      []int32 // by node: who may lay a track on it
	slant      []int32 // by node: who may cross the middle of the cell right below it
	via        []int32 // by node: who may drill there
}

func (g *grid) size() int { return g.wide * g.high }

func (g *grid) point(node int) board.Point {
	return board.Point{X: node % g.wide * pitch, Y: node / g.wide * pitch}
}

func newGrid(b *board.Board, numbers map[string]int32) *grid {
	g := &grid{wide: b.Size.X/pitch + 1, high: b.Size.Y/pitch + 1}
	for _, list := range []*[]int32{&g.track, &g.slant, &g.via} {
		*list = make([]int32, g.size())
		for i := range *list {
			(*list)[i] = free
		}
	}
	g.closeEdges(b)
	for _, p := range b.Pads {
		owner, ok := numbers[p.Net]
		if !ok {
			owner = closed
		}
		g.claim(p.Shape, owner)
		g.forbidDrilling(p)
	}
	return g
}

func distance(p, q board.Point) float64 { return math.Hypot(float64(p.X-q.X), float64(p.Y-q.Y)) }

// closeEdges keeps all copper from the edges, the screws' heads and the jacks.
func (g *grid) closeEdges(b *board.Board) {
	for node := range g.size() {
		p := g.point(node)
		edge := min(p.X, p.Y, b.Size.X-p.X, b.Size.Y-p.Y)
		screw := math.Inf(1)
		for _, h := range b.Holes {
			screw = min(screw, distance(p, h.At)-board.ScrewKeepOut)
		}
		if edge < board.EdgeClearance+board.TrackWidth/2 || screw < board.TrackWidth {
			g.track[node], g.slant[node] = closed, closed
		}
		if edge < board.EdgeClearance+board.ViaDiameter/2 || screw < board.ViaDiameter || b.OverJack(p) {
			g.via[node] = closed
		}
	}
}

// around calls f for the nodes within reach of a shape's bounds.
func (g *grid) around(c board.Capsule, reach int, f func(node int)) {
	r := c.Bounds(reach)
	for y := max(0, r.Min.Y/pitch); y <= min(g.high-1, r.Max.Y/pitch+1); y++ {
		for x := max(0, r.Min.X/pitch); x <= min(g.wide-1, r.Max.X/pitch+1); x++ {
			f(y*g.wide + x)
		}
	}
}

// claim closes the room around a pad to all nets but its own.
func (g *grid) claim(c board.Capsule, owner int32) {
	take := func(list []int32, node int) {
		switch list[node] {
		case free:
			list[node] = owner
		case owner:
		default:
			list[node] = closed
		}
	}
	g.around(c, viaReach+pitch, func(node int) {
		p := g.point(node)
		gap := c.Gap(board.Capsule{A: p, B: p})
		if gap < trackReach+margin {
			take(g.track, node)
		}
		if gap < viaReach+margin {
			take(g.via, node)
		}
		middle := board.Point{X: p.X + pitch/2, Y: p.Y + pitch/2}
		if c.Gap(board.Capsule{A: middle, B: middle}) < trackReach+2*margin {
			take(g.slant, node)
		}
	})
}

// forbidDrilling keeps all vias, those of its own net too, from a pad's hole.
func (g *grid) forbidDrilling(p board.Pad) {
	reach := (p.Drill+board.ViaDrill)/2 + board.HoleToHole
	centre := p.Shape.Centre()
	g.around(board.Capsule{A: centre, B: centre}, reach+pitch, func(node int) {
		if distance(g.point(node), centre) < float64(reach) {
			g.via[node] = closed
		}
	})
}

// inside gives the nodes on a pad's copper, near enough to its middle that a track
// which ends there is joined to it.
func (g *grid) inside(c board.Capsule) []int {
	var nodes []int
	g.around(c, pitch, func(node int) {
		p := g.point(node)
		if (board.Capsule{A: c.A, B: c.B}).Gap(board.Capsule{A: p, B: p}) < 190 {
			nodes = append(nodes, node)
		}
	})
	return nodes
}
