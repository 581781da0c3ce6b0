package statistics

import (
	"fmt"
	"html/template"
	"iter"
	"math"
	"strings"

	"chipassay/host/report"
)

// Measures are in the picture's own units, of which a browser makes CSS pixels.
const (
	width  = 480
	height = 184
	left   = 52 // of the plot
	right  = width - 20
	top    = 44
	bottom = height - 50

	textSize  = 12
	tickSize  = 5
	hatchStep = 4 // between two strokes, along the edge
)

const (
	ink   = "var(--ink,#1d1c1a)" // of the page's style sheet, where there is one
	soft  = "var(--soft,#5a5750)"
	faint = "var(--line,#d9d5cc)" // grid lines
	grey  = "var(--grey,#9c978c)" // bars
	paper = "var(--paper,#fff)"
)

// A picture is one in the making: SVG for a page or a print. It says in words, for who
// cannot see it, what it shows. The style of the page has it shrink with the page (class
// chart): one of its own could not be where a page forbids that.
type picture struct{ strings.Builder }

// begin starts a picture with its title on it, and desc for who cannot see it.
func begin(title, desc string) *picture {
	s := &picture{}
	s.add(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" width="%[1]d" height="%[2]d" role="img" `+
		`class="chart" font-family="system-ui,'Liberation Sans',Arial,sans-serif" font-size="%[3]d" fill="%[4]s">`,
		width, height, textSize, ink)
	s.add("<title>%s</title>\n<desc>%s</desc>", title, desc)
	s.add(`<rect width="%d" height="%d" fill="%s"/>`, width, height, paper)
	s.add(`<text x="8" y="20" font-size="14" font-weight="600">%s</text>`, title)
	return s
}

func (s *picture) end() template.HTML {
	s.WriteString("</svg>\n")
	return template.HTML(s.String())
}

// add adds an element; texts in it are escaped.
func (s *picture) add(format string, args ...any) {
	for i, a := range args {
		if text, ok := a.(string); ok {
			args[i] = template.HTMLEscapeString(text)
		}
	}
	fmt.Fprintf(s, format+"\n", args...)
}

// text writes at a point; anchor is start, middle or end.
func (s *picture) text(x, y float64, anchor, text string) {
	s.add(`<text x="%.1f" y="%.1f" text-anchor="%s">%s</text>`, x, y, anchor, text)
}

func (s *picture) line(x1, y1, x2, y2 float64, colour string, thick float64) {
	s.add(`<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" stroke="%s" stroke-width="%g"/>`, x1, y1, x2, y2, colour, thick)
}

func (s *picture) dot(x, y, radius float64, fill string) {
	s.add(`<circle cx="%.1f" cy="%.1f" r="%.1f" fill="%s" stroke="%s" stroke-width="1.5"/>`, x, y, radius, fill, ink)
}

// bar draws a bar from y1 down to y2: filled, or hatched for what is bad.
func (s *picture) bar(x, y1, wide, y2 float64, bad bool) {
	switch frame := `<rect x="%.2f" y="%.2f" width="%.2f" height="%.2f" fill="%s" stroke="%s" stroke-width="0.8"/>`; {
	case y2 <= y1:
	case bad:
		s.add(frame, x, y1, wide, y2-y1, paper, ink)
		s.add(`<path d="%s" stroke="%s" stroke-width="0.8"/>`, report.Hatch(x, y1, wide, y2-y1, hatchStep), ink)
	default:
		s.add(frame, x, y1, wide, y2-y1, grey, ink)
	}
}

// An axis maps values to places of the picture, with ticks so far apart.
type axis struct {
	low, high float64 // values
	from, to  float64 // their places
	step      float64
	unit      string // of the ticks
}

// axisOf is an axis with up to so many steps of 1, 2 or 5 times a power of ten.
func axisOf(low, high, from, to, steps float64) axis {
	return axis{low, high, from, to, report.RoundUp((high - low) / steps), ""}
}

// whole leaves out ticks between whole numbers.
func (a axis) whole() axis {
	a.step = max(a.step, 1)
	return a
}

func (a axis) at(value float64) float64 {
	return a.from + (value-a.low)/(a.high-a.low)*(a.to-a.from)
}

// ticks are the places of the ticks with what is written there.
func (a axis) ticks() iter.Seq2[float64, string] {
	digits := max(0, -int(math.Floor(math.Log10(a.step)+1e-9))) // behind the point
	return func(yield func(float64, string) bool) {
		for k := int(math.Ceil(a.low/a.step - 1e-9)); float64(k)*a.step <= a.high+1e-9*a.step; k++ {
			value := float64(k) * a.step // k is whole, so that 0 is not -0
			if !yield(a.at(value), fmt.Sprintf("%.*f", digits, value)+a.unit) {
				return
			}
		}
	}
}

// countAxis is the vertical axis for up to so many chips or outputs, which ends at a tick.
func countAxis(most int) axis {
	y := axisOf(0, float64(most), bottom, top+8, 5).whole()
	y.high = math.Ceil(y.high/y.step) * y.step
	return y
}

// shareAxis is the vertical axis from 0 to 100 %.
var shareAxis = axis{0, 100, bottom, top + 8, 20, " %"}

// axes draws the axes with their names, and a line across the plot at each tick of y.
func (s *picture) axes(x, y axis, across, up string) {
	for at, label := range y.ticks() {
		s.line(left, at, right, at, faint, 1)
		s.text(left-tickSize-2, at+4, "end", label)
	}
	s.text(8, top-8, "start", up)
	s.line(left, bottom, right, bottom, ink, 1)
	for at, label := range x.ticks() {
		s.line(at, bottom, at, bottom+tickSize, ink, 1)
		s.text(at, bottom+tickSize+14, "middle", label)
	}
	s.text((left+right)/2, height-3, "middle", across)
}

// key explains what filled and hatched bars are, at the right above the plot.
func (s *picture) key(filled, hatched string) {
	s.text(right-18, top-8, "end", hatched)
	s.bar(right-13, top-18, 13, top-8, true)
	x := right - 34 - 7*float64(len(hatched)) // about the width of a letter
	s.text(x-18, top-8, "end", filled)
	s.bar(x-13, top-18, 13, top-8, false)
}
