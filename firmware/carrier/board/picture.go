package board

import (
	"fmt"
	"slices"
	"strings"
)

// Colours of the pictures.
const (
	colourBoard  = "#0b3d2e"
	colourCopper = "#c8803c"
	colourHole   = "#f4f4f0"
	colourSilk   = "#f0f0f0"
)

// picture draws one side of the copper with holes and silk, the bottom as one sees
// it when the board is turned over.
func (b *Board) picture(l Layer, mirrored bool) string {
	var s strings.Builder
	b.openPicture(&s, mirrored)
	drawMarks(&s, b.copper(l), colourCopper, colourBoard)
	b.drawSilk(&s, l)
	b.closePicture(&s)
	return s.String()
}

// drawSilk draws the silk and what it leaves free: the openings, with their pads.
func (b *Board) drawSilk(s *strings.Builder, l Layer) {
	drawMarks(s, slices.DeleteFunc(b.silk(l), func(m mark) bool { return m.clear }), colourSilk, "")
	drawMarks(s, b.mask(), colourCopper, "")
}

// assembly draws the parts and their names on pads alone.
func (b *Board) assembly() string {
	var s strings.Builder
	b.openPicture(&s, false)
	b.drawSilk(&s, Top)
	b.closePicture(&s)
	return s.String()
}

func (b *Board) openPicture(s *strings.Builder, mirrored bool) {
	w, h := mm(b.Size.X), mm(b.Size.Y)
	fmt.Fprintf(s, "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"%smm\" height=\"%smm\" viewBox=\"0 0 %s %s\">\n", w, h, w, h)
	fmt.Fprintf(s, "<rect width=\"%s\" height=\"%s\" fill=\"%s\"/>\n", w, h, colourBoard)
	if mirrored {
		fmt.Fprintf(s, "<g stroke-linecap=\"round\" transform=\"translate(%s 0) scale(-1 1)\">\n", w)
	} else {
		s.WriteString("<g stroke-linecap=\"round\">\n")
	}
}

func (b *Board) closePicture(s *strings.Builder) {
	for _, d := range b.drills() {
		drawMarks(s, []mark{{shape: disc(d.at, d.diameter)}}, colourHole, "")
	}
	s.WriteString("</g>\n</svg>\n")
}

func drawMarks(s *strings.Builder, marks []mark, dark, clear string) {
	for _, m := range marks {
		colour := dark
		if m.clear {
			colour = clear
		}
		if m.area != nil {
			s.WriteString("<polygon points=\"")
			for _, p := range m.area {
				fmt.Fprintf(s, "%s,%s ", mm(p.X), mm(p.Y))
			}
			fmt.Fprintf(s, "\" fill=\"%s\"/>\n", colour)
			continue
		}
		c := m.shape
		if c.A == c.B {
			fmt.Fprintf(s, "<circle cx=\"%s\" cy=\"%s\" r=\"%s\" fill=\"%s\"/>\n", mm(c.A.X), mm(c.A.Y), mm(c.Radius), colour)
			continue
		}
		fmt.Fprintf(s, "<path d=\"M%s %sL%s %s\" stroke=\"%s\" stroke-width=\"%s\"/>\n",
			mm(c.A.X), mm(c.A.Y), mm(c.B.X), mm(c.B.Y), colour, mm(2*c.Radius))
	}
}
