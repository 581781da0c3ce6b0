package plan

import (
	"math"

	"chipassay/firmware/carrier"
)

// A Wire is a step of the wire list between two holes.
type Wire struct {
	Step     int // as wiring.csv counts
	Group    carrier.Group
	Stage    string
	From, To carrier.Terminal // To is empty if the supply begins here
	A, B     Hole
	outward  float64 // which way the part's outside is from A: -1 left, 1 right
}

// Short reports whether the wire is a bridge to the next hole.
func (w Wire) Short() bool {
	return w.A.Board == w.B.Board && abs(w.A.X-w.B.X)+abs(w.A.Y-w.B.Y) <= 1
}

func abs(i int) int { return max(i, -i) }

// Wires gives the wires of the wire list with the holes that they join. A wire to a
// supply goes to the nearest place that has it already, on its own board if there is one.
func Wires(n *carrier.Netlist, all []Placed) []Wire {
	by := map[string]Placed{}
	for _, p := range all {
		by[p.Part.Ref] = p
	}
	hole := func(t carrier.Terminal) Hole { return by[t.Part.Ref].Holes[t.Pin.Number] }
	carries := map[string][]carrier.Terminal{} // by supply: what has it already
	var wires []Wire
	for i, s := range n.Wiring() {
		if s.Check != "" {
			continue
		}
		w := Wire{Step: i + 1, Group: s.Group, Stage: s.Stage, From: s.From, To: s.To, A: hole(s.From)}
		w.outward = 1
		if o := by[s.From.Part.Ref].outline; float64(w.A.X) < (o.left+o.right)/2 {
			w.outward = -1
		}
		if s.Bus != "" {
			w.To = nearest(w.A, carries[s.Bus], hole)
			carries[s.Bus] = append(carries[s.Bus], s.From)
		}
		if w.To.Part != nil {
			w.B = hole(w.To)
		}
		wires = append(wires, w)
	}
	return wires
}

// nearest gives the terminal whose hole is nearest, none if there are none.
func nearest(from Hole, among []carrier.Terminal, hole func(carrier.Terminal) Hole) carrier.Terminal {
	var best carrier.Terminal
	shortest := math.Inf(1)
	for _, t := range among {
		to := hole(t)
		mm := Pitch * math.Hypot(float64(to.X-from.X), float64(to.Y-from.Y))
		if to.Board != from.Board {
			mm = 1000 // from board to board, whichever comes first
		}
		if mm < shortest {
			best, shortest = t, mm
		}
	}
	return best
}
