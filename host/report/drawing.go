package report

import (
	"fmt"
	"slices"
)

// The package is drawn from above, notch up, pin 1 top left. Measures are in
// the drawing's own units, which a browser scales.
const (
	pinPitch   = 34  // from a pin to the next
	firstPin   = 24  // upper edge of the first leg
	bodyMargin = 16  // of the body below the last leg
	bodyTop    = 8   // and as much below the body
	bodyLeft   = 124 // left edge of the body
	bodyRight  = 294
	legHeight  = 14
)

// A drawing is a package seen from above.
type drawing struct {
	Bottom, Middle int // of the body
	Height         int
	Type           string
	Alt            string // what the drawing shows, for who cannot see it
	Pins           []drawnPin
	Failed, Left   bool // some pin failed; some pin was left out
}

// A drawnPin is a leg with its number and name.
type drawnPin struct {
	Pin
	side
	State string // failed, left out, or ""
	Y     int    // upper edge of the leg
}

// A side has the edge of the body, and measured from it, where the parts of its pins are.
type side struct {
	Edge                 int
	LegX, NameX, NumberX int
	MarkX, WordX         int    // of a pin that failed or was left out
	Inward, Outward      string // text anchors
}

var (
	left  = side{bodyLeft, -20, 9, -26, -60, -72, "start", "end"}
	right = side{bodyRight, 0, -9, 26, 60, 72, "end", "start"}
)

// Drawing is the chip from above; nil where the document does not give its pins.
func (d Document) Drawing() *drawing {
	if len(d.Pins) == 0 {
		return nil
	}
	rows := len(d.Pins) / 2
	bottom := firstPin + (rows-1)*pinPitch + legHeight + bodyMargin
	g := drawing{Bottom: bottom, Middle: (bodyTop + bottom) / 2, Height: bottom + bodyTop, Type: d.Type}
	g.Alt = fmt.Sprintf("%s in a %d-pin dual in-line package, seen from above.", d.Type, len(d.Pins))
	if len(d.PinsFailed) > 0 {
		g.Alt += " Failed: " + d.PinWords(d.PinsFailed) + "."
	}
	for i, pin := range d.Pins { // down the left, then up the right
		p := drawnPin{Pin: pin, side: left, Y: firstPin + i*pinPitch}
		if i >= rows {
			p.side, p.Y = right, firstPin+(2*rows-1-i)*pinPitch
		}
		switch {
		case slices.Contains(d.PinsFailed, pin.Number):
			p.State, g.Failed = "failed", true
		case pin.LeftOut != "":
			p.State, g.Left = "left out", true
		}
		g.Pins = append(g.Pins, p)
	}
	return &g
}
