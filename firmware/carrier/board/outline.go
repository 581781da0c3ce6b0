package board

import "chipassay/firmware/carrier"

// An Outline is what one sees of a part on the board, from the top.
type Outline struct {
	Part  *carrier.Part
	Body  Rect // without leads
	Round bool
	Pads  []Pad
}

// Outlines gives the placed parts in the order of placement.txt. The microcontroller's
// board is under all others.
func (b *Board) Outlines() []Outline {
	var all []Outline
	pads := map[string][]Pad{}
	for _, p := range b.Pads {
		pads[p.Ref] = append(pads[p.Ref], p)
	}
	for _, place := range b.Placements {
		part, shape := b.parts[place.Ref], b.shapes[place.Ref]
		all = append(all, Outline{part, bodyOf(part.Kind, shape).placed(place), shape.Round, pads[place.Ref]})
	}
	return all
}

// bodyOf is the part itself, where its footprint's body has the leads in it: as silk.go
// draws it.
func bodyOf(kind carrier.Kind, shape footprint) Rect {
	switch kind {
	case carrier.Resistor:
		return Rect{Point{1350, -950}, Point{6270, 950}}
	case carrier.Register, carrier.Converter:
		return Rect{Point{1300, -1150}, Point{6320, 18930}}
	case carrier.MCU:
		return Rect{Point{0, 0}, Point{101_600, 53_340}} // 4.0 x 2.1 inch
	}
	return shape.Body[0]
}

// Nearest gives the two pads of two nets that are nearest to each other: where solder
// joins them most easily. It reports whether both nets have pads.
func (b *Board) Nearest(netA, netB string) (of [2]Pad, found bool) {
	least := 0.0
	for _, p := range b.Pads {
		if p.Net != netA {
			continue
		}
		for _, q := range b.Pads {
			if q.Net != netB {
				continue
			}
			if gap := p.Shape.Gap(q.Shape); !found || gap < least {
				of, found, least = [2]Pad{p, q}, true, gap
			}
		}
	}
	return of, found
}
