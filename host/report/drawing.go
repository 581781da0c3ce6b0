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

// draw draws the chip of a sheet.
func draw(s Sheet) drawing {
	v := s.Result.Type.Variant
	rows := len(v.Pins) / 2
	d := drawing{Width: 2*bodyLeft + bodyWidth, Type: s.Result.Type.Name(), NotchX: bodyLeft + bodyWidth/2}
	d.Body = rect{bodyLeft, drawTop, bodyWidth, (rows-1)*pinPitch + legHeight + 2*bodyMargin + 12}
	d.Height = d.Body.H + 2*drawTop
	d.Middle = d.Body.Y + d.Body.H/2
	for _, p := range v.Pins {
		dp := place(p.Number, rows)
		dp.Name = p.Name
		switch {
		case slices.Contains(s.Result.PinsFailed, p.Number):
			dp.State, d.Failed = "failed", true
		case p.Untested != "":
			dp.State, d.Left = "left out", true
		}
		d.Pins = append(d.Pins, dp)
	}
	d.Alt = alt(s)
	return d
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

// alt says in words what the drawing shows.
func alt(s Sheet) string {
	v := s.Result.Type.Variant
	text := fmt.Sprintf("%s in a %d-pin dual in-line package, seen from above.", s.Result.Type.Name(), len(v.Pins))
	if len(s.Result.PinsFailed) > 0 {
		text += " Failed: pin " + strings.ReplaceAll(pinWords(v, s.Result.PinsFailed), ", ", ", pin ") + "."
	}
	return text
}
