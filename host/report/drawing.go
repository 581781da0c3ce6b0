package report

import (
	"fmt"
	"slices"
	"strings"
)

// The package is drawn from above, notch up, pin 1 top left. Measures are in
// the drawing's own units, which a browser scales.
const (
	pinPitch   = 34  // from a pin to the next
	bodyLeft   = 124 // left edge of the body
	bodyWidth  = 170
	legLength  = 20
	legHeight  = 14
	bodyMargin = 10 // of the body above the first leg and below the last
	drawTop    = 8  // above the body
)

// A drawing is a package seen from above.
type drawing struct {
	Width, Height int
	Body          rect
	NotchX        int // centre of the notch, at the body's upper edge
	Middle        int // centre of the body
	Type          string
	Alt           string // what the drawing shows, for who cannot see it
	Pins          []drawnPin
	Failed, Left  bool // some pin failed; some pin was left out
}

type rect struct{ X, Y, W, H int }

// A drawnPin is a leg with its number and name.
type drawnPin struct {
	Number  int
	Name    string
	State   string // failed, left out, or ""
	Leg     rect
	Base    int // baseline of the texts
	NameX   int
	NumberX int
	MarkX   int // centre of the mark of a pin that failed or was left out
	MarkY   int
	WordX   int
	Anchor  string // of name; number and word have the other
	Outward string
}

// Drawing is the chip from above; nil where the document does not give its pins.
func (d Document) Drawing() *drawing {
	if len(d.Pins) == 0 {
		return nil
	}
	rows := len(d.Pins) / 2
	g := drawing{Width: 2*bodyLeft + bodyWidth, Type: d.Type, NotchX: bodyLeft + bodyWidth/2}
	g.Body = rect{bodyLeft, drawTop, bodyWidth, (rows-1)*pinPitch + legHeight + 2*bodyMargin + 12}
	g.Height = g.Body.H + 2*drawTop
	g.Middle = g.Body.Y + g.Body.H/2
	g.Alt = fmt.Sprintf("%s in a %d-pin dual in-line package, seen from above.", d.Type, len(d.Pins))
	if len(d.PinsFailed) > 0 {
		g.Alt += " Failed: pin " + strings.ReplaceAll(d.PinWords(d.PinsFailed), ", ", ", pin ") + "."
	}
	for _, p := range d.Pins {
		leg := place(p.Number, rows)
		leg.Name = p.Name
		switch {
		case slices.Contains(d.PinsFailed, p.Number):
			leg.State, g.Failed = "failed", true
		case p.LeftOut != "":
			leg.State, g.Left = "left out", true
		}
		g.Pins = append(g.Pins, leg)
	}
	return &g
}

// place sets the leg of a pin and the texts around it.
func place(number, rows int) drawnPin {
	row, side := number-1, -1 // down the left, then up the right
	if number > rows {
		row, side = 2*rows-number, 1
	}
	p := drawnPin{Number: number, Anchor: "start", Outward: "end"}
	edge := bodyLeft
	legX := bodyLeft - legLength
	if side > 0 {
		p.Anchor, p.Outward = "end", "start"
		edge = bodyLeft + bodyWidth
		legX = edge
	}
	y := drawTop + bodyMargin + 6 + row*pinPitch
	p.Leg = rect{legX, y, legLength, legHeight}
	p.MarkY = y + legHeight/2
	p.Base = p.MarkY + 5
	p.NameX = edge - side*9
	p.NumberX = edge + side*(legLength+6)
	p.MarkX = edge + side*(legLength+40)
	p.WordX = edge + side*(legLength+52)
	return p
}
