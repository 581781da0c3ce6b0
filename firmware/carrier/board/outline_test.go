package board

import (
	"testing"

	"chipassay/firmware/carrier"
)

// Every part of the netlist is seen once, on the board, with its pads around or in it; but
// the socket's lever and the jacks of the microcontroller's board hang over the edge.
func TestOutlines(t *testing.T) {
	n := carrier.New()
	b, err := Placed(n)
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]Outline{}
	for _, o := range b.Outlines() {
		seen[o.Part.Ref] = o
		inside := o.Body.Min.X >= 0 && o.Body.Min.Y >= 0 && o.Body.Max.X <= b.Size.X && o.Body.Max.Y <= b.Size.Y
		if o.Body.Min.X >= o.Body.Max.X || o.Body.Min.Y >= o.Body.Max.Y || !inside {
			t.Errorf("%s is at %v", o.Part.Ref, o.Body)
		}
		if len(o.Pads) < len(o.Part.Pins) {
			t.Errorf("%s: %d pads of %d pins", o.Part.Ref, len(o.Pads), len(o.Part.Pins))
		}
	}
	if len(seen) != len(n.Parts) || len(b.Outlines()) != len(n.Parts) {
		t.Errorf("%d of %d parts", len(seen), len(n.Parts))
	}
	// R305 by hand: pin 1 at 11.43, 22.86 and turned by 180 degrees, its body from 1.35 to 6.27 mm
	if got, want := seen["R305"].Body, (Rect{Point{5160, 21_910}, Point{10_080, 23_810}}); got != want {
		t.Errorf("R305 is at %v, want %v", got, want)
	}
}

// Neighbours of a socket are 0.1 inch apart (JEDEC MS-001), and nowhere nearer.
func TestNearest(t *testing.T) {
	b, err := Placed(carrier.New())
	if err != nil {
		t.Fatal(err)
	}
	of, found := b.Nearest("L7", "L8")
	if !found {
		t.Fatal("L7 and L8 have pads")
	}
	p, q := of[0].Shape.Centre(), of[1].Shape.Centre()
	if of[0].Net != "L7" || of[1].Net != "L8" || p.X != q.X || q.Y-p.Y != 2540 {
		t.Errorf("%v, %v", of[0], of[1])
	}
	if _, found := b.Nearest("L7", "nothing"); found {
		t.Error("a net that is not there has a pad")
	}
}
