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
