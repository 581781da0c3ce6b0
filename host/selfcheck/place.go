package selfcheck

import (
	"slices"

	"chipassay/firmware/carrier"
)

// A Place is where a fault may be on the board.
type Place struct {
	Ref  string    // part; empty: where two nets touch
	Pin  string    // its pin that is open; empty: the part itself
	Nets [2]string // that touch
}

// mostPins is how many defects are looked for at their pins: where more would give the
// same, the parts are named.
const mostPins = 3

// Places are where the fault may be, the likeliest first: any one of them. A fault that
// no single defect explains has none, but a Position.
func (f *Fault) Places() (places []Place) {
	add := func(p Place) {
		if !slices.Contains(places, p) {
			places = append(places, p)
		}
	}
	parts := slices.ContainsFunc(f.defects, func(d Defect) bool { return d.kind != shorted })
	for _, d := range f.defects {
		switch {
		case len(f.defects) <= mostPins && d.kind == shorted || !parts:
			add(Place{Nets: [2]string{d.NetA, d.NetB}})
		case d.kind == shorted: // there are parts to look at first
		case d.kind == pinOpen && len(f.defects) <= mostPins:
			add(Place{Ref: d.Ref, Pin: d.Pin})
		default:
			add(Place{Ref: d.Ref})
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

// String is the place in a word or two: "R305", "U21 pin 4", "between L7 and L8".
func (p Place) String() string {
	switch {
	case p.Ref == "":
		return "between " + p.Nets[0] + " and " + p.Nets[1]
	case p.Pin != "":
		return p.Ref + " pin " + p.Pin
	}
	return p.Ref
}
