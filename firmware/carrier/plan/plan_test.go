package plan

import (
	"math"
	"testing"

	"chipassay/firmware/carrier"
)

func place(t *testing.T) []Placed {
	t.Helper()
	all, err := Place(carrier.New())
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// Every part is placed, on its board, and covers no other; no hole has two leads.
func TestNothingOverlaps(t *testing.T) {
	all := place(t)
	if want := len(carrier.New().Parts); len(all) != want {
		t.Errorf("%d parts placed, want %d", len(all), want)
	}
	leads := map[Hole]string{}
	for i, p := range all {
		for _, pin := range p.Part.Pins {
			h, found := p.Holes[pin.Number]
			if !found {
				if pin.Net != "" {
					t.Errorf("%s.%s has no hole", p.Part.Ref, pin.Number)
				}
				continue
			}
			if size := Sizes[h.Board]; h.X < 0 || h.Y < 0 || h.X >= size.X || h.Y >= size.Y {
				t.Errorf("%s.%s is beside the board: %v", p.Part.Ref, pin.Number, h)
			}
			if other, taken := leads[h]; taken {
				t.Errorf("%s.%s is in the hole of %s: %v", p.Part.Ref, pin.Number, other, h)
			}
			leads[h] = p.Part.Ref + "." + pin.Number
		}
		for _, other := range all[:i] {
			if other.Board == p.Board && p.outline.overlaps(other.outline) {
				t.Errorf("%s and %s overlap", p.Part.Ref, other.Part.Ref)
			}
		}
	}
	// Landings lie clear of all bodies.
	for _, p := range all {
		for label, h := range all[0].Holes {
			o := p.outline
			if h.Board == p.Board && float64(h.X) > o.left && float64(h.X) < o.right && float64(h.Y) > o.top && float64(h.Y) < o.bottom {
				t.Errorf("the landing of %s is under %s", label, p.Part.Ref)
			}
		}
	}
}

// On the boards' pages no words lie over other words, nor beside the page.
func TestWordsAreLegible(t *testing.T) {
	all := place(t)
	for i := range 2 * len(Sizes) {
		page := overview(all, i/2, "")
		if i%2 == 1 {
			page = behind(all, i/2)
		}
		texts := page.Texts()
		for i, a := range texts {
			a1, a2 := a.Bounds()
			if a1.X < 5 || a1.Y < 5 || a2.X > pageWidth-5 || a2.Y > pageHeight-5 {
				t.Errorf("%q is outside the page", a.Words)
			}
			for _, b := range texts[:i] {
				if b1, b2 := b.Bounds(); a1.X < b2.X && b1.X < a2.X && a1.Y < b2.Y && b1.Y < a2.Y {
					t.Errorf("%q lies over %q", a.Words, b.Words)
				}
			}
		}
	}
}

// The wires of the plan join what the netlist joins, and nothing else, however
// many groups are soldered in so far.
func TestWiresAreTheNetlist(t *testing.T) {
	n := carrier.New()
	all := place(t)
	wires := Wires(n, all)
	at := map[Hole]string{}
	for _, p := range all {
		for _, pin := range p.Part.Pins {
			if h, found := p.Holes[pin.Number]; found {
				at[h] = pin.Net
			}
		}
	}
	for _, last := range carrier.AllGroups() {
		joined := map[Hole]Hole{}
		var root func(Hole) Hole
		root = func(h Hole) Hole {
			if up, found := joined[h]; found {
				return root(up)
			}
			return h
		}
		for _, w := range wires {
			if w.Group > last || w.To.Part == nil {
				continue
			}
			if at[w.A] != at[w.B] || at[w.A] == "" {
				t.Fatalf("step %d joins %q and %q", w.Step, at[w.A], at[w.B])
			}
			if a, b := root(w.A), root(w.B); a != b {
				joined[a] = b
			}
		}
		soFar := n.Fitted(carrier.AllGroups()[:last+1]...)
		holes := map[string]Hole{}
		for _, p := range all {
			if fitted := soFar.Part(p.Part.Ref); fitted == nil {
				continue
			}
			for _, pin := range p.Part.Pins {
				h, found := p.Holes[pin.Number]
				if !found || pin.Net == "" || alone(soFar, pin.Net) {
					continue
				}
				if first, found := holes[pin.Net]; !found {
					holes[pin.Net] = h
				} else if root(first) != root(h) {
					t.Errorf("after %v: %s.%s is not joined to the rest of %s", last, p.Part.Ref, pin.Number, pin.Net)
				}
			}
		}
	}
}

// alone reports whether a net has one pin so far.
func alone(n *carrier.Netlist, net string) bool { return len(n.Terminals(net)) < 2 }

// Steps are those of the wire list, each wire of which is drawn once.
func TestStepsAreTheWireLists(t *testing.T) {
	steps := carrier.New().Wiring()
	drawn := map[int]bool{}
	for _, w := range Wires(carrier.New(), place(t)) {
		s := steps[w.Step-1]
		if s.Check != "" || s.From.String() != w.From.String() || drawn[w.Step] {
			t.Errorf("step %d is drawn from %v", w.Step, w.From)
		}
		drawn[w.Step] = true
	}
	for i, s := range steps {
		if s.Check == "" && !drawn[i+1] {
			t.Errorf("step %d, from %v, is not drawn", i+1, s.From)
		}
	}
}

// The parts list has a jumper wire for each landing, by the group that first uses it.
func TestJumperWires(t *testing.T) {
	n := carrier.New()
	seen, want := map[string]bool{}, [5]int{}
	for _, w := range Wires(n, place(t)) {
		for _, end := range []carrier.Terminal{w.From, w.To} {
			if end.Part != nil && end.Part.Kind == carrier.MCU && !seen[end.Pin.Number] {
				seen[end.Pin.Number] = true
				want[w.Group]++
			}
		}
	}
	for _, item := range n.BOM() {
		if item.Value == "jumper wire" {
			if item.Quantity != want {
				t.Errorf("%v jumper wires, want %v", item.Quantity, want)
			}
			return
		}
	}
	t.Error("no jumper wires in the parts list")
}

// The design: the capacitors at a high-side switch lie within 15 mm of the socket's pin.
func TestCapacitorsAreNear(t *testing.T) {
	all := place(t)
	by := map[string]Placed{}
	for _, p := range all {
		by[p.Part.Ref] = p
	}
	for _, p := range all {
		if p.Part.Kind != carrier.Capacitor || p.Part.Position == 0 {
			continue
		}
		plus := p.Holes["1"]
		for _, pin := range by["X1"].Part.Pins {
			if pin.Name != carrier.LaneAt(p.Part.Position).Name {
				continue
			}
			h := by["X1"].Holes[pin.Number]
			if mm := math.Hypot(float64(plus.X-h.X), float64(plus.Y-h.Y)) * Pitch; mm > 15 {
				t.Errorf("%s is %.1f mm from %s", p.Part.Ref, mm, pin.Name)
			}
		}
	}
}
