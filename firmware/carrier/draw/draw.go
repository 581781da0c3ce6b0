// Package draw holds a drawing of lines and words, in millimetres from the top
// left, that svg.go and pdf.go render alike and reproducibly. The schematic, the
// solder plan and the guide's pictures are each drawn once.
package draw

import (
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
)

// A Point is a place on a page, in mm from the top left corner.
type Point struct{ X, Y float64 }

// Plus moves a point.
func (p Point) Plus(x, y float64) Point { return Point{p.X + x, p.Y + y} }

// A Style says how a line or an area looks. Colours are #rrggbb; an empty one
// draws nothing.
type Style struct {
	Stroke string
	Width  float64 // mm
	Fill   string
	Dash   [2]float64 // mm drawn and mm left out; 0 drawn makes dots
}

// An Anchor is the part of a text that is at its point.
type Anchor int

const (
	Start Anchor = iota
	Middle
	End
)

// A Text is one line of words. Its point is on the baseline.
type Text struct {
	At     Point
	Size   float64 // mm, of the font
	Anchor Anchor
	Bold   bool
	Up     bool   // reads from below to above
	Colour string // empty: black
	Words  string
}

// path is a line through points, or the area within them.
type path struct {
	points []Point
	closed bool
	style  Style
}

type circle struct {
	at     Point
	radius float64
	style  Style
}

// A Page is one drawing.
type Page struct {
	Title         string
	Width, Height float64 // mm
	items         []item
}

// item is a path, a circle or a Text, which can write itself in each format.
type item interface {
	svg(*svgWriter)
	pdf(*pdfWriter)
	mirrored(axis float64) item
}

// Line draws a line through points.
func (p *Page) Line(s Style, points ...Point) { p.items = append(p.items, path{points, false, s}) }

// Area draws the area within points.
func (p *Page) Area(s Style, points ...Point) { p.items = append(p.items, path{points, true, s}) }

// Box draws a rectangle.
func (p *Page) Box(s Style, at Point, width, height float64) {
	p.Area(s, at, at.Plus(width, 0), at.Plus(width, height), at.Plus(0, height))
}

// Circle draws a circle.
func (p *Page) Circle(s Style, at Point, radius float64) {
	p.items = append(p.items, circle{at, radius, s})
}

// Text draws words.
func (p *Page) Text(t Text) { p.items = append(p.items, t) }

// Texts gives the words of a page, in the order in which they were drawn.
func (p *Page) Texts() []Text {
	var texts []Text
	for _, i := range p.items {
		if t, is := i.(Text); is {
			texts = append(texts, t)
		}
	}
	return texts
}

// Mirrored gives the page as seen from behind, turned over an upright axis so many
// mm from the left. Words stay readable.
func (p *Page) Mirrored(axis float64) *Page {
	m := &Page{Title: p.Title, Width: p.Width, Height: p.Height}
	for _, i := range p.items {
		m.items = append(m.items, i.mirrored(axis))
	}
	return m
}

func (p Point) mirrored(axis float64) Point { return Point{2*axis - p.X, p.Y} }

func (p path) mirrored(axis float64) item {
	points := make([]Point, len(p.points))
	for i, at := range p.points {
		points[i] = at.mirrored(axis)
	}
	p.points = points
	return p
}

func (c circle) mirrored(axis float64) item {
	c.at = c.at.mirrored(axis)
	return c
}

func (t Text) mirrored(axis float64) item {
	t.At = t.At.mirrored(axis)
	switch {
	case t.Up: // the other side of its baseline is the place of the letters now
		t.At.X += 0.55 * t.Size
	case t.Anchor == Start:
		t.Anchor = End
	case t.Anchor == End:
		t.Anchor = Start
	}
	return t
}

// perEm is the size at which the fonts are measured, in pixels.
const perEm = 1000

var faces = sync.OnceValue(func() [2]font.Face {
	var faces [2]font.Face
	for i, ttf := range [][]byte{goregular.TTF, gobold.TTF} {
		f, err := opentype.Parse(ttf)
		if err != nil {
			panic(err) // the font is part of the program
		}
		faces[i], err = opentype.NewFace(f, &opentype.FaceOptions{Size: perEm, DPI: 72, Hinting: font.HintingNone})
		if err != nil {
			panic(err)
		}
	}
	return faces
})

var measuring sync.Mutex // a face is not safe for use by several at a time

// Length gives the length of the words in mm.
func (t Text) Length() float64 {
	measuring.Lock()
	defer measuring.Unlock()
	face := faces()[0]
	if t.Bold {
		face = faces()[1]
	}
	var sum fixed.Int26_6
	for _, r := range t.Words {
		advance, _ := face.GlyphAdvance(r)
		sum += advance
	}
	return float64(sum) / 64 / perEm * t.Size
}

// Bounds gives the corners of the rectangle in which the words lie, capitals and
// descenders included.
func (t Text) Bounds() (topLeft, bottomRight Point) {
	length := t.Length()
	from := map[Anchor]float64{Start: 0, Middle: -length / 2, End: -length}[t.Anchor]
	up, down := 0.75*t.Size, 0.2*t.Size
	if t.Up {
		return t.At.Plus(-up, -from-length), t.At.Plus(down, -from)
	}
	return t.At.Plus(from, -up), t.At.Plus(from+length, down)
}
