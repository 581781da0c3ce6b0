package plan

import (
	"fmt"

	"chipassay/firmware/carrier"
)

type offset struct{ x, y int }

// A shape is the holes of a part, pin after pin, from that of its first pin, and what it covers.
type shape struct {
	pins    []offset
	outline outline
}

func row(pins, apart int) []offset {
	var holes []offset
	for i := range pins {
		holes = append(holes, offset{i * apart, 0})
	}
	return holes
}

// dualInLine is upright, pin 1 at the upper left, its two rows of pins so many holes apart.
func dualInLine(perRow, apart int) []offset {
	holes := make([]offset, 2*perRow)
	for i := range perRow {
		holes[i] = offset{0, i}
		holes[len(holes)-1-i] = offset{apart, i}
	}
	return holes
}

// footprint gives a part's shape when its first pin is at the left, or at the upper left.
func footprint(p *carrier.Part) (shape, error) {
	switch p.Kind {
	case carrier.Resistor: // lies over four holes, 2.5 mm wide
		return shape{row(2, 3), outline{-0.45, -0.49, 3.45, 0.49}}, nil
	case carrier.Capacitor:
		if p.Farads >= 1e-6 { // radial, 5 mm wide
			return shape{row(2, 1), outline{-0.48, -0.98, 1.48, 0.98}}, nil
		}
		return shape{row(2, 2), outline{-0.45, -0.49, 2.45, 0.49}}, nil
	case carrier.NMOS, carrier.PNP, carrier.Reference: // leads bent to the pitch, 4 mm deep
		return shape{row(3, 1), outline{-0.45, -0.8, 2.45, 0.8}}, nil
	case carrier.Register, carrier.Converter:
		return shape{dualInLine(8, 3), outline{-0.45, -0.5, 3.45, 7.5}}, nil
	case carrier.Fuse: // a disc on edge, 8 mm
		return shape{row(2, 2), outline{-0.6, -0.7, 2.6, 0.7}}, nil
	case carrier.LED: // 3 mm
		return shape{row(2, 1), outline{-0.3, -0.8, 1.3, 0.8}}, nil
	case carrier.Button: // 6 mm; the other two pins are joined to these within it
		return shape{[]offset{{0, 0}, {0, 2}}, outline{-0.4, -0.4, 3.1, 2.4}}, nil
	case carrier.Link:
		return shape{row(3, 1), outline{-0.5, -0.5, 2.5, 0.5}}, nil
	case carrier.Header:
		return shape{row(15, 1), outline{-0.5, -0.5, 14.5, 0.5}}, nil
	case carrier.Monitor: // a module of 26 x 23 mm
		return shape{row(6, 1), outline{-2.6, -0.8, 7.6, 8.1}}, nil
	case carrier.Socket: // rows 0.6 inch apart (count those of yours); the lever, above pin 1, reaches five holes further
		return shape{dualInLine(14, 6), outline{-2, -4.5, 8, 16}}, nil
	}
	return shape{}, fmt.Errorf("plan: %s is a %v, whose shape is not known", p.Ref, p.Kind)
}
