package draw

import (
	"bytes"
	"fmt"
	"html"
	"strconv"
	"strings"
)

type svgWriter struct{ bytes.Buffer }

// SVG renders a page. Its words are set in the fonts of whoever looks at it.
func (p *Page) SVG() []byte {
	w := &svgWriter{}
	fmt.Fprintf(w, `<svg xmlns="http://www.w3.org/2000/svg" width="%[1]smm" height="%[2]smm" viewBox="0 0 %[1]s %[2]s" `+
		`font-family="Go, Verdana, 'DejaVu Sans', Arial, sans-serif" stroke-linecap="round" stroke-linejoin="round">`+"\n",
		number(p.Width), number(p.Height))
	fmt.Fprintf(w, "<title>%s</title>\n", html.EscapeString(p.Title))
	fmt.Fprintf(w, `<rect width="%s" height="%s" fill="#ffffff"/>`+"\n", number(p.Width), number(p.Height))
	for _, i := range p.items {
		i.svg(w)
	}
	w.WriteString("</svg>\n")
	return w.Bytes()
}

// number prints mm to a hundredth.
func number(mm float64) string {
	s := strings.TrimRight(strings.TrimRight(strconv.FormatFloat(mm, 'f', 2, 64), "0"), ".")
	if s == "-0" {
		return "0"
	}
	return s
}

func (s Style) attributes() string {
	stroke, fill := s.Stroke, s.Fill
	if fill == "" {
		fill = "none"
	}
	a := fmt.Sprintf(`fill="%s"`, fill)
	if stroke != "" {
		a += fmt.Sprintf(` stroke="%s" stroke-width="%s"`, stroke, number(s.Width))
	}
	if s.Dash[1] > 0 {
		a += fmt.Sprintf(` stroke-dasharray="%s %s"`, number(s.Dash[0]), number(s.Dash[1]))
	}
	return a
}

func (p path) svg(w *svgWriter) {
	name := "polyline"
	if p.closed {
		name = "polygon"
	}
	var points []string
	for _, at := range p.points {
		points = append(points, number(at.X)+","+number(at.Y))
	}
	fmt.Fprintf(w, `<%s points="%s" %s/>`+"\n", name, strings.Join(points, " "), p.style.attributes())
}

func (c circle) svg(w *svgWriter) {
	fmt.Fprintf(w, `<circle cx="%s" cy="%s" r="%s" %s/>`+"\n", number(c.at.X), number(c.at.Y), number(c.radius), c.style.attributes())
}

func (t Text) svg(w *svgWriter) {
	fmt.Fprintf(w, `<text x="%s" y="%s" font-size="%s"`, number(t.At.X), number(t.At.Y), number(t.Size))
	switch t.Anchor {
	case Middle:
		w.WriteString(` text-anchor="middle"`)
	case End:
		w.WriteString(` text-anchor="end"`)
	}
	if t.Bold {
		w.WriteString(` font-weight="bold"`)
	}
	if t.Colour != "" {
		fmt.Fprintf(w, ` fill="%s"`, t.Colour)
	}
	if t.Up {
		fmt.Fprintf(w, ` transform="rotate(-90 %s %s)"`, number(t.At.X), number(t.At.Y))
	}
	fmt.Fprintf(w, ">%s</text>\n", html.EscapeString(t.Words))
}
