package board

import (
	"fmt"
	"slices"
)

// NetNames gives the nets of the placed parts, in the order of the pads.
func (b *Board) NetNames() []string {
	var names []string
	for _, p := range b.Pads {
		if p.Net != "" && !slices.Contains(names, p.Net) {
			names = append(names, p.Net)
		}
	}
	return names
}

// joint is how far two pieces of copper must overlap to count as joined, µm.
const joint = 50

// Differences compares the copper with the netlist: what the pieces join by their
// shapes alone, whatever net the text writes beside them. It names each net that
// is in several parts, and each piece of copper that joins two nets.
func (b *Board) Differences() []string {
	pieces := b.pieces()
	groups := newGroups(len(pieces) + len(b.Zones))
	near(pieces, func(p, q piece, gap float64) {
		if gap < -joint {
			groups.join(p.index, q.index)
		}
	})
	var different []string
	for i, p := range b.Pads {
		if z := b.zoneOf(p); z >= 0 {
			groups.join(i, len(pieces)+z)
		}
	}
	nets, parts := map[int]string{}, map[string][]int{}
	for i, p := range b.Pads {
		root := groups.root(i)
		if other, taken := nets[root]; taken && other != p.Net {
			different = append(different, fmt.Sprintf("%s (%s) is joined to %s", p.Name(), p.Net, other))
		}
		nets[root] = p.Net
		if p.Net != "" && !slices.Contains(parts[p.Net], root) {
			parts[p.Net] = append(parts[p.Net], root)
		}
	}
	for _, net := range b.NetNames() {
		if len(parts[net]) > 1 {
			different = append(different, fmt.Sprintf("%s is in %d parts", net, len(parts[net])))
		}
	}
	for i, t := range b.Tracks {
		if net, touches := nets[groups.root(len(b.Pads)+i)]; !touches || net != t.Net {
			different = append(different, fmt.Sprintf("track %d is written down as %s and joined to %q", i, t.Net, net))
		}
	}
	return different
}

// groups joins numbers to sets (union and find).
type groups []int

func newGroups(count int) groups {
	g := make(groups, count)
	for i := range g {
		g[i] = i
	}
	return g
}

func (g groups) root(i int) int {
	for g[i] != i {
		g[i] = g[g[i]]
		i = g[i]
	}
	return i
}

func (g groups) join(i, j int) { g[g.root(i)] = g.root(j) }

// zoneAt gives the zone that has the copper of a layer at a place; -1 if none. A
// later zone lies in an earlier one.
func (b *Board) zoneAt(layer Layer, at Point) int {
	for i := len(b.Zones) - 1; i >= 0; i-- {
		if b.Zones[i].Layer == layer && inside(at, b.Zones[i].Outline) {
			return i
		}
	}
	return -1
}

// zoneOf gives the zone that a pad meets in its hole; -1 if none.
func (b *Board) zoneOf(p Pad) int {
	for _, layer := range []Layer{Inner1, Inner2} {
		if z := b.zoneAt(layer, p.Shape.Centre()); z >= 0 && p.Net != "" && b.Zones[z].Net == p.Net {
			return z
		}
	}
	return -1
}

// OnPlane reports whether a pad meets its net's plane in its hole.
func (b *Board) OnPlane(p Pad) bool { return b.zoneOf(p) >= 0 }
