package selfcheck

import (
	"cmp"
	"slices"

	"chipassay/firmware/carrier"
)

// A Place is where a fault may be on the board.
type Place struct {
	Ref  string    // part; empty: where two nets touch
	Pin  string    // its pin that is open; empty: the part itself
	Nets [2]string // that touch
}

// Places are where the fault may be, the likeliest first: any one of them. A fault that
// no single defect explains has none, but a Position.
func (f *Fault) Places() (places []Place) {
	add := func(p Place) {
		if !slices.Contains(places, p) {
			places = append(places, p)
		}
	}
	for _, d := range f.defects {
		if d.kind != shorted {
			add(Place{Ref: d.Ref, Pin: f.pinOf(d)})
		}
	}
	// a part that one soldered is likelier than a contact of a board that one bought
	slices.SortStableFunc(places, func(a, b Place) int { return cmp.Compare(atMCU(a), atMCU(b)) })
	few := len(places) <= 2 // of many parts, those are looked at first
	for _, d := range f.defects {
		if d.kind == shorted && few {
			add(Place{Nets: [2]string{d.NetA, d.NetB}})
		}
	}
	if len(f.defects) == 0 {
		whole := carrier.New()
		for _, name := range f.Parts {
			if whole.Part(name) != nil {
				add(Place{Ref: name})
			}
		}
	}
	return places
}

// pinOf is the pin at which a part is looked at: of a package where all its defects are
// at one, of the microcontroller's board always; empty for the whole part.
func (f *Fault) pinOf(d Defect) string {
	for _, o := range f.defects {
		if d.Ref != mcu && o.Ref == d.Ref && o != d {
			return ""
		}
	}
	return d.Pin
}

func atMCU(p Place) int {
	if p.Ref == mcu {
		return 1
	}
	return 0
}

// mcu is the reference of the microcontroller's board.
const mcu = "A1"

// String is the place in a word or two: "R305", "U21 pin 4", "between L7
// and L8".
func (p Place) String() string {
	switch {
	case p.Ref == "":
		return "between " + p.Nets[0] + " and " + p.Nets[1]
	case p.Pin != "" && p.Ref == mcu:
		return "label " + p.Pin + " of the microcontroller's board"
	case p.Pin != "":
		return p.Ref + " pin " + p.Pin
	}
	return p.Ref
}
