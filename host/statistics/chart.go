package statistics

import (
	"fmt"
	"html"
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
	titleSize = 14
	tickSize  = 5
)

const (
	ink   = "var(--ink,#1d1c1a)" // of the page's style sheet, where there is one
	soft  = "var(--soft,#5a5750)"
	faint = "var(--line,#d9d5cc)" // grid lines
	grey  = "var(--grey,#9c978c)" // bars
	paper = "var(--paper,#fff)"
)

// A picture is one in the making: SVG for a page or a print, one string, to be put into
// HTML as it is. It says in words, for who cannot see it, what it shows. The style of the
// page has it shrink with the page (class chart): one of its own could not be where a page
// forbids that.
type picture struct{ strings.Builder }

// begin starts a picture with its title on it, and desc for who cannot see it.
func begin(title, desc string) *picture {
	s := &picture{}
	fmt.Fprintf(s, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" width="%[1]d" height="%[2]d" role="img" `, width, height)
	fmt.Fprintf(s, `class="chart" font-family="system-ui,'Liberation Sans',Arial,sans-serif" font-size="%d" fill="%s">`, textSize, ink)
	fmt.Fprintf(s, "\n<title>%s</title>\n<desc>%s</desc>\n", html.EscapeString(title), html.EscapeString(desc))
	s.printf(`<rect width="%d" height="%d" fill="%s"/>`, width, height, paper)
	s.printf(`<text x="%d" y="20" font-size="%d" font-weight="600">%s</text>`, 8, titleSize, html.EscapeString(fit(title, titleSize, width-16)))
	return s
}

func (s *picture) end() string {
	s.WriteString("</svg>\n")
	return s.String()
}

func (s *picture) printf(format string, args ...any) {
	fmt.Fprintf(s, format+"\n", args...)
}

// text writes at a point; anchor is start, middle or end.
func (s *picture) text(x, y float64, anchor, text string) {
	s.printf(`<text x="%.1f" y="%.1f" text-anchor="%s">%s</text>`, x, y, anchor, html.EscapeString(text))
}

func (s *picture) line(x1, y1, x2, y2 float64, colour string, thick float64) {
	s.printf(`<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" stroke="%s" stroke-width="%g"/>`, x1, y1, x2, y2, colour, thick)
}

// bar draws a bar from y1 down to y2: filled, or hatched for what is bad.
func (s *picture) bar(x, y1, wide, y2 float64, bad bool) {
	if y2-y1 <= 0 {
		return
	}
	fill := grey
	if bad {
		fill = paper
	}
	s.printf(`<rect x="%.2f" y="%.2f" width="%.2f" height="%.2f" fill="%s" stroke="%s" stroke-width="0.8"/>`, x, y1, wide, y2-y1, fill, ink)
	if bad {
		s.printf(`<path d="%s" stroke="%s" stroke-width="0.8" fill="none"/>`, report.Hatch(x, y1, wide, y2-y1, hatchStep), ink)
	}
}

const hatchStep = 4 // between two strokes, along the edge

// fit shortens a text to a length, by what a character of the font takes at most on
// the average: 0.62 of its size, and all of it in scripts that are set square.
func fit(text string, size, length float64) string {
	const square = '\u2e80' // and above: Chinese, Japanese, Korean, pictures
	taken := 0.0
	for i, r := range text {
		share := 0.62
		if r >= square {
			share = 1
		}
		if taken += share * size; taken > length-size { // room for the dots
			return text[:i] + "…"
		}
	}
	return text
}

// An axis maps values to places of the picture.
type axis struct {
	low, high float64 // values
	from, to  float64 // their places
}

func (a axis) at(value float64) float64 {
	return a.from + (value-a.low)/(a.high-a.low)*(a.to-a.from)
}

// ticks are the round values of an axis, no more than most steps apart by 1, 2 or 5
// times a power of ten, and the digits behind the point that they need.
func (a axis) ticks(most int) (values []float64, digits int) {
	step := report.RoundUp((a.high - a.low) / float64(most))
	for k := int(math.Ceil(a.low/step - 1e-9)); float64(k)*step <= a.high+1e-9*step; k++ {
		values = append(values, float64(k)*step) // k is whole, so that 0 is not -0
	}
	return values, max(0, -int(math.Floor(math.Log10(step)+1e-9)))
}

// counts draws the vertical axis for numbers of what is named.
func (s *picture) counts(most int, what string) axis {
	y := axis{0, float64(max(most, 1)), bottom, top + 8}
	y.high = math.Ceil(y.high/report.RoundUp(max(1, y.high/5))) * report.RoundUp(max(1, y.high/5))
	values, _ := y.ticks(5)
	for _, v := range values {
		if v == math.Trunc(v) {
			s.line(left, y.at(v), right, y.at(v), faint, 1)
			s.text(left-tickSize-2, y.at(v)+4, "end", fmt.Sprintf("%.0f", v))
		}
	}
	s.text(8, top-8, "start", what)
	return y
}

// perCents draws the vertical axis from 0 to 100 %.
func (s *picture) perCents(name string) axis {
	y := axis{0, 1, bottom, top + 8}
	for v := 0; v <= 100; v += 20 {
		s.line(left, y.at(float64(v)/100), right, y.at(float64(v)/100), faint, 1)
		s.text(left-tickSize-2, y.at(float64(v)/100)+4, "end", fmt.Sprintf("%d %%", v))
	}
	s.text(8, top-8, "start", name)
	return y
}

// across draws the horizontal axis under the plot, with its ticks and its name.
func (s *picture) across(x axis, name string) {
	s.line(left, bottom, right, bottom, ink, 1)
	values, digits := x.ticks(8)
	for _, v := range values {
		s.line(x.at(v), bottom, x.at(v), bottom+tickSize, ink, 1)
		s.text(x.at(v), bottom+tickSize+14, "middle", fmt.Sprintf("%.*f", digits, v))
	}
	s.text((left+right)/2, height-3, "middle", name)
}

// nothing says so in an empty plot.
func (s *picture) nothing() {
	s.text((left+right)/2, (top+bottom)/2, "middle", "nothing to show")
}

// key explains what filled and hatched bars are, at the right above the plot.
func (s *picture) key(filled, hatched string) {
	x := float64(right)
	for _, k := range []struct {
		word string
		bad  bool
	}{{hatched, true}, {filled, false}} {
		s.bar(x-13, top-18, 13, top-8, k.bad)
		s.text(x-18, top-8, "end", k.word)
		x -= 7*float64(len([]rune(k.word))) + 34
	}
}
