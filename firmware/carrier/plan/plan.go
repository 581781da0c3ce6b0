// Package plan draws the parts of the carrier on two prototyping boards of 2.54 mm
// pitch, and every wire between them, stage by stage in the order of the wire list.
// spots.go has the places: check that table with a board in hand.
//
// The microcontroller's board is beside them. Each of its lines comes over a jumper
// wire whose end is soldered into its own hole, a landing.
package plan

import (
	"fmt"

	"chipassay/firmware/carrier"
)

// Pitch is the distance between two holes, mm.
const Pitch = 2.54

// A Hole is a place on one of the boards, counted from its upper left corner.
type Hole struct{ Board, X, Y int }

// Sizes are the boards' numbers of holes across and down: 160 x 100 mm for all but
// the far half's registers and converters, 100 x 100 mm for these.
var Sizes = [2]struct {
	Name string
	X, Y int
}{
	{"main board, 160 x 100 mm", 60, 38},
	{"far half's board, 100 x 100 mm", 38, 38},
}

// An outline is what a part covers, in holes.
type outline struct{ left, top, right, bottom float64 }

// overlaps reports whether two outlines share more than an edge.
func (o outline) overlaps(p outline) bool {
	return o.left < p.right && p.left < o.right && o.top < p.bottom && p.top < o.bottom
}

// A Placed is a part on its board.
type Placed struct {
	Part    *carrier.Part
	Board   int
	Holes   map[string]Hole // by pin number
	outline outline         // of the microcontroller's board: none
}

// Place puts every part of the netlist where the table has it.
func Place(n *carrier.Netlist) ([]Placed, error) {
	var all []Placed
	for i := range n.Parts {
		p := &n.Parts[i]
		if p.Kind == carrier.MCU {
			landings, err := land(p)
			if err != nil {
				return nil, err
			}
			all = append(all, landings)
			continue
		}
		s, found := spots()[p.Ref]
		if !found {
			return nil, fmt.Errorf("plan: %s has no place", p.Ref)
		}
		placed, err := s.put(p)
		if err != nil {
			return nil, err
		}
		all = append(all, placed)
	}
	return all, nil
}

// put turns the part's footprint into holes of the board.
func (s spot) put(p *carrier.Part) (Placed, error) {
	f, err := footprint(p)
	if err != nil {
		return Placed{}, err
	}
	placed := Placed{Part: p, Board: s.board, Holes: map[string]Hole{}}
	for i, pin := range p.Pins {
		x, y := s.turned(float64(f.pins[i].x), float64(f.pins[i].y))
		placed.Holes[pin.Number] = Hole{s.board, int(x), int(y)}
	}
	x1, y1 := s.turned(f.outline.left, f.outline.top)
	x2, y2 := s.turned(f.outline.right, f.outline.bottom)
	placed.outline = outline{min(x1, x2), min(y1, y2), max(x1, x2), max(y1, y2)}
	return placed, nil
}

// turned moves a place of a footprint to the spot, turned as the part is.
func (s spot) turned(x, y float64) (float64, float64) {
	switch s.turn {
	case down:
		x, y = -y, x
	case left:
		x, y = -x, -y
	case up:
		x, y = y, -x
	}
	return float64(s.x) + x, float64(s.y) + y
}

// land gives the landings of the microcontroller's lines.
func land(p *carrier.Part) (Placed, error) {
	placed := Placed{Part: p, Holes: map[string]Hole{}}
	where := landings()
	for _, pin := range p.Pins {
		if pin.Net == "" {
			continue
		}
		h, found := where[pin.Name]
		if !found {
			h, found = where[pin.Number]
		}
		if !found {
			return placed, fmt.Errorf("plan: line %s has no landing", pin.Number)
		}
		placed.Holes[pin.Number] = h
	}
	return placed, nil
}
