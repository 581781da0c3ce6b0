package sheet

import (
	"fmt"
	"html"
	"io"
	"strings"

	"chipassay/vectors/part"
)

// Measures of the drawing, in its own units.
const (
	svgPitch  = 28  // between pins
	svgBody   = 150 // width of the package
	svgMargin = 150 // for the names on either side
	svgLead   = 14  // length of a pin
	svgHead   = 56  // above the package

	groundRoom = 16 // for the sign of ground
)

// WriteSVG draws the package seen from above, with each pin's number, name and
// direction, as an SVG file.
func WriteSVG(w io.Writer, v *part.Variant) error {
	half := len(v.Pins) / 2
	height := svgHead + half*svgPitch + 40
	width := 2*svgMargin + svgBody
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" width="%d" height="%d" font-family="sans-serif" font-size="14">`+"\n", width, height, width, height)
	fmt.Fprintf(&b, "<title>%s %s, top view</title>\n<rect width=\"100%%\" height=\"100%%\" fill=\"#fff\"/>\n", html.EscapeString(v.Part.Number), html.EscapeString(v.Part.Title))
	fmt.Fprintf(&b, `<text x="%d" y="22" text-anchor="middle" font-size="16">%s %s</text>`+"\n", width/2, html.EscapeString(v.Part.Number), html.EscapeString(v.Part.Title))
	fmt.Fprintf(&b, `<rect x="%d" y="%d" width="%d" height="%d" rx="6" fill="#f4f4f2" stroke="#222" stroke-width="2"/>`+"\n", svgMargin, svgHead-14, svgBody, half*svgPitch+14)
	fmt.Fprintf(&b, `<path d="M %d %d a 10 10 0 0 0 20 0" fill="#fff" stroke="#222" stroke-width="2"/>`+"\n", width/2-10, svgHead-14)
	for i := range half {
		y := svgHead + i*svgPitch + svgPitch/2 - 4
		svgPin(&b, v.Pins[i], y, true)
		svgPin(&b, v.Pins[len(v.Pins)-1-i], y, false)
	}
	b.WriteString("</svg>\n")
	_, err := io.WriteString(w, b.String())
	return err
}

func svgPin(b *strings.Builder, p part.Pin, y int, left bool) {
	edge, lead, name, number, side := svgMargin, -svgLead, -svgLead-8, 10, "end"
	inward, outward := "→", "←"
	numberSide := "start"
	if !left {
		edge, lead, name, number, side, numberSide = svgMargin+svgBody, svgLead, svgLead+8, -10, "start", "end"
		inward, outward = outward, inward
	}
	arrow := arrow(p, inward, outward)
	if p.Role == part.Ground { // drawn: few fonts have its sign
		at := edge + name
		arrow, name = "", name+groundRoom*(lead/svgLead)
		fmt.Fprintf(b, `<path class="ground" d="M%d %dH%dv4m-7 0h14m-11.5 3.5h9m-6.5 3.5h4" fill="none" stroke="#222" stroke-width="1.5"/>`, edge+lead, y, at)
	}
	text := html.EscapeString(p.Name+notes(p)) + " " + arrow
	if !left {
		text = arrow + " " + html.EscapeString(p.Name+notes(p))
	}
	text = strings.TrimSpace(text)
	if bare, ok := strings.CutPrefix(p.Name, "/"); ok {
		bar := `<tspan text-decoration="overline">` + html.EscapeString(bare) + `</tspan>`
		text = strings.Replace(text, html.EscapeString(p.Name), bar, 1)
	}
	fmt.Fprintf(b, `<line x1="%d" y1="%d" x2="%d" y2="%d" stroke="#222" stroke-width="3"/>`, edge, y, edge+lead, y)
	fmt.Fprintf(b, `<text x="%d" y="%d" text-anchor="%s" fill="#555">%d</text>`, edge+number, y+5, numberSide, p.Number)
	fmt.Fprintf(b, `<text x="%d" y="%d" text-anchor="%s">%s</text>`+"\n", edge+name, y+5, side, text)
}
