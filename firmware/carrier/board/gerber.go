package board

import (
	"fmt"
	"strings"
)

// gerber writes marks as an RS-274X file, with y up from the bottom left corner.
// Function is the file's purpose in the terms of the format's attributes; negative
// says that a mask file shows its openings.
func (b *Board) gerber(function string, negative bool, marks []mark) string {
	g := gerberFile{height: b.Size.Y, tools: map[string]int{}}
	polarity := "Positive"
	if negative {
		polarity = "Negative"
	}
	for _, m := range marks {
		g.draw(m)
	}
	var s strings.Builder
	fmt.Fprintf(&s, "G04 #@! TF.GenerationSoftware,chipassay,board*\nG04 #@! TF.FileFunction,%s*\nG04 #@! TF.FilePolarity,%s*\n", function, polarity)
	s.WriteString("%FSLAX46Y46*%\n%MOMM*%\n%LPD*%\nG01*\n")
	s.WriteString(g.apertures.String())
	s.WriteString(g.body.String())
	s.WriteString("M02*\n")
	return s.String()
}

type gerberFile struct {
	height          int
	tools           map[string]int // apertures by their definition
	apertures, body strings.Builder
	tool            int
	clear           bool
}

// at writes a place: in millionths of a millimetre, as the format line says.
func (g *gerberFile) at(p Point) string { return fmt.Sprintf("X%dY%d", p.X*1000, (g.height-p.Y)*1000) }

func (g *gerberFile) draw(m mark) {
	if m.clear != g.clear {
		g.clear = m.clear
		g.body.WriteString(map[bool]string{true: "%LPC*%\n", false: "%LPD*%\n"}[m.clear])
	}
	c := m.shape
	switch {
	case m.area != nil:
		g.body.WriteString("G36*\n" + g.at(m.area[0]) + "D02*\n")
		for _, p := range append(m.area[1:], m.area[0]) {
			g.body.WriteString(g.at(p) + "D01*\n")
		}
		g.body.WriteString("G37*\n")
	case c.A == c.B && m.flash:
		g.use(fmt.Sprintf("C,%s", mm(2*c.Radius)))
		g.body.WriteString(g.at(c.A) + "D03*\n")
	case m.flash && (c.A.X == c.B.X || c.A.Y == c.B.Y):
		r := c.Bounds(0)
		g.use(fmt.Sprintf("O,%sX%s", mm(r.Max.X-r.Min.X), mm(r.Max.Y-r.Min.Y)))
		g.body.WriteString(g.at(c.Centre()) + "D03*\n")
	default:
		g.use(fmt.Sprintf("C,%s", mm(2*c.Radius)))
		g.body.WriteString(g.at(c.A) + "D02*\n" + g.at(c.B) + "D01*\n")
	}
}

// use selects an aperture, and defines it the first time.
func (g *gerberFile) use(definition string) {
	number, known := g.tools[definition]
	if !known {
		number = 10 + len(g.tools)
		g.tools[definition] = number
		fmt.Fprintf(&g.apertures, "%%ADD%d%s*%%\n", number, definition)
	}
	if g.tool != number {
		g.tool = number
		fmt.Fprintf(&g.body, "D%d*\n", number)
	}
}

// excellon writes holes as a drill file: a tool a diameter, smallest first.
func (b *Board) excellon(function string, holes []drilled) string {
	byDiameter := map[int][]Point{}
	for _, h := range holes {
		byDiameter[h.diameter] = append(byDiameter[h.diameter], h.at)
	}
	sizes := sortedKeys(byDiameter)
	var s strings.Builder
	fmt.Fprintf(&s, "M48\n; #@! TF.FileFunction,%s\nFMAT,2\nMETRIC\n", function)
	for i, size := range sizes {
		fmt.Fprintf(&s, "T%dC%s\n", i+1, mm(size))
	}
	s.WriteString("%\nG90\nG05\n")
	for i, size := range sizes {
		fmt.Fprintf(&s, "T%d\n", i+1)
		for _, p := range byDiameter[size] {
			fmt.Fprintf(&s, "X%sY%s\n", mm(p.X), mm(b.Size.Y-p.Y))
		}
	}
	s.WriteString("T0\nM30\n")
	return s.String()
}
