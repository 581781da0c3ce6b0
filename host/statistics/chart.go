package statistics

import (
	_ "embed"
	"fmt"
	"html/template"
	"iter"
	"math"
	"strconv"
	"strings"

	"chipassay/host/report"
)

// Measures are in the picture's own units, of which a browser makes CSS pixels. What they
// frame is in chart.html.
const (
	width  = 480
	height = 184
	left   = 52 // of the plot
	right  = width - 20
	top    = 44
	bottom = height - 50

	hatchStep = 4 // between two strokes, along the edge
)

// A picture is a chart of bars, strokes, dots and words, drawn in this order. Desc says what it
// shows, for who cannot see it. Its colours are of the style sheet of the page, where there is
// one. That has it shrink with the page (class chart): a style of its own could not be where a
// page forbids that.
type picture struct {
	Title, Desc string
	X, Y        axis
	Across, Up  string // names of the axes
	Bars        []bar
	Strokes     []stroke
	Dots        []dot
	Words       []words
}

// A bar is filled, or hatched for what is bad.
type bar struct {
	X, Y, Wide, High float64
	Bad              bool
}

// Hatch is the hatching as a path.
func (b bar) Hatch() string { return report.Hatch(b.X, b.Y, b.Wide, b.High, hatchStep) }

type stroke struct {
	Path  string
	Thick float64
}

type dot struct {
	X, Y, Radius float64
	Ring         bool
}

type words struct {
	X, Y   float64
	Anchor string // start, middle or end
	Text   string
	Small  bool
}

//go:embed chart.html
var chartText string

var chart = template.Must(template.New("chart").Funcs(template.FuncMap{
	"place": func(x float64) string { return strconv.FormatFloat(x, 'f', 2, 64) },
}).Parse(chartText))

// draw makes SVG of the picture, for a page or a print.
func (p picture) draw() template.HTML {
	var b strings.Builder
	if err := chart.Execute(&b, p); err != nil {
		panic(err) // of the template, which is the program's own
	}
	return template.HTML(b.String())
}

// key explains what filled and hatched bars are, at the right above the plot.
func (p *picture) key(filled, hatched string) {
	x := right - 34 - 7*float64(len(hatched)) // about the width of a letter
	p.Words = append(p.Words, words{X: right - 18, Y: top - 8, Anchor: "end", Text: hatched}, words{X: x - 18, Y: top - 8, Anchor: "end", Text: filled})
	p.Bars = append(p.Bars, bar{right - 13, top - 18, 13, 10, true}, bar{x - 13, top - 18, 13, 10, false})
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

// Ticks are the places of the ticks with what is written there.
func (a axis) Ticks() iter.Seq2[float64, string] {
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
