package board

import (
	"math"
	"strings"

	"chipassay/firmware/carrier"
)

// silk gives what is printed on a side: outlines and names of the parts on top; on
// the bottom the microcontroller's headers and jacks, which are there.
func (b *Board) silk(l Layer) []mark {
	d := &drawing{}
	for _, place := range b.Placements {
		switch {
		case l == Top && place.Ref != "A1":
			d.part(place, b.parts[place.Ref].Kind, b.shapes[place.Ref])
		case l == Bottom && place.Ref == "A1":
			for _, r := range b.shapes["A1"].Body {
				d.rect(r.placed(place))
			}
			d.mirrored = true
			d.text("USB", Point{4500, 93980}, 1500, 0)
			d.text("SUPPLY", Point{5500, 124500}, 1500, 0)
			d.text("MICROCONTROLLER BOARD ON THIS SIDE.", Point{66000, 4000}, 1500, 0)
			d.text("HEADERS FROM THIS SIDE, SOLDERED ON THE OTHER. TRIM LEADS TO 1.5 MM.", Point{66000, 7000}, 1300, 0)
		}
	}
	if l == Top {
		d.text("CHIPASSAY CARRIER B", Point{116500, 130500}, 1500, 0)
		d.text("L1", Point{43180, 10700}, 1000, 0)
		d.text("GND", Point{43180, 50500}, 1000, 0)
		d.text("R1", Point{83820, 10700}, 1000, 0)
		d.text("GND", Point{83820, 50500}, 1000, 0)
	}
	for _, m := range b.mask() {
		m.clear = true
		m.shape.Radius += silkMargin - maskMargin
		d.marks = append(d.marks, m)
	}
	return d.marks
}

// A drawing is lines of silk.
type drawing struct {
	marks    []mark
	mirrored bool // texts are read from below
}

func (d *drawing) line(points ...Point) {
	for i := 1; i < len(points); i++ {
		d.marks = append(d.marks, mark{shape: Capsule{points[i-1], points[i], silkWidth / 2}})
	}
}

func (d *drawing) rect(r Rect) {
	d.line(r.Min, Point{r.Max.X, r.Min.Y}, r.Max, Point{r.Min.X, r.Max.Y}, r.Min)
}

// arc draws a part of a circle, from an angle to an angle in degrees.
func (d *drawing) arc(place Placement, centre Point, radius, from, to float64) {
	var points []Point
	for i := range 25 {
		angle := (from + (to-from)*float64(i)/24) * math.Pi / 180
		p := Point{centre.X + int(math.Round(radius*math.Cos(angle))), centre.Y + int(math.Round(radius*math.Sin(angle)))}
		points = append(points, p.turn(place.Rotation).plus(place.At))
	}
	d.line(points...)
}

// part draws a part's outline, its reference, and what shows how it is turned.
func (d *drawing) part(place Placement, kind carrier.Kind, shape footprint) {
	on := func(p Point) Point { return p.turn(place.Rotation).plus(place.At) }
	label := func(text string, x, y, height int) { d.text(text, on(Point{x, y}), height, place.Rotation) }
	body := shape.Body[0]
	middle := Point{(body.Min.X + body.Max.X) / 2, (body.Min.Y + body.Max.Y) / 2}
	outline := func(x0, y0, x1, y1 int) { d.rect(Rect{Point{x0, y0}, Point{x1, y1}}.placed(place)) }
	switch kind {
	case carrier.Resistor:
		outline(1350, -950, 6270, 950)
		label(place.Ref, middle.X, middle.Y, 1100)
	case carrier.NMOS, carrier.PNP, carrier.Reference:
		d.arc(place, Point{1270, 0}, 2480, 135, 405)
		d.line(on(Point{-480, 1750}), on(Point{3020, 1750}))
		label(place.Ref, 1270, -1600, 900)
	case carrier.Register, carrier.Converter:
		outline(1300, -1150, 6320, 18930)
		d.arc(place, Point{3810, -1150}, 1000, 0, 180)
		d.text(place.Ref, on(Point{3810, 8890}), 1500, place.Rotation+90)
	case carrier.LED:
		d.arc(place, Point{1270, 0}, 1700, 0, 360)
		label("K", -900, 1550, 900)
		label(place.Ref, 1270, -2200, 900)
	case carrier.Capacitor:
		if shape.Round {
			d.arc(place, Point{1250, 0}, 2480, 0, 360)
			label("+", -600, -1450, 900)
			label(place.Ref, 1250, 1500, 850)
			break
		}
		outline(0, -1180, 5000, 1180)
		label(place.Ref, 2500, 0, 850)
	case carrier.Monitor:
		d.rect(body.placed(place))
		label(place.Ref, middle.X, middle.Y, 1500)
		for i, name := range []string{"VCC", "GND", "SCL", "SDA", "IN-", "IN+"} {
			d.text(name, on(Point{i * pitch, 2700}), 800, place.Rotation+90)
		}
	case carrier.Socket:
		d.rect(body.placed(place)) // the lever hangs over the edge
		label("1", 1900, -1700, 1500)
		label("LEVER END", 7620, -6000, 1500)
	case carrier.Link:
		d.rect(body.placed(place))
		label(place.Ref, 3400, 2540, 1000)
		label("1", 2000, 0, 800)
	default:
		d.rect(body.placed(place))
		if len(shape.Pads) < 10 {
			label(place.Ref, middle.X, middle.Y, 1200)
		}
	}
}

// text writes around its middle. It is turned so that it reads from the bottom or
// from the right.
func (d *drawing) text(text string, middle Point, height, degrees int) {
	degrees = degrees % 180
	unit := float64(height) / 6
	width := (float64(len(text))*6 - 2) * unit
	for i, letter := range strings.ToUpper(text) {
		for _, stroke := range strings.Split(strokes[letter], "|") {
			var points []Point
			for _, at := range strings.Fields(stroke) {
				p := Point{
					int(math.Round(float64(6*i+int(at[0]-'0'))*unit - width/2)),
					int(math.Round(float64(int(at[1]-'0')-3) * unit)),
				}
				if d.mirrored {
					p.X = -p.X
				}
				points = append(points, p.turn(degrees).plus(middle))
			}
			d.line(points...)
		}
	}
}

// strokes are the letters, on a field 4 wide and 6 high: column and row of each
// corner, a bar between strokes.
var strokes = map[rune]string{
	'0': "10 30 41 45 36 16 05 01 10", '1': "11 20 26|16 36", '2': "01 10 30 41 42 06 46",
	'3': "00 40 22 32 43 45 36 16 05", '4': "36 30 04 44", '5': "40 00 02 32 43 45 36 16 05",
	'6': "30 10 01 05 16 36 45 44 33 03", '7': "00 40 16",
	'8': "13 02 01 10 30 41 42 33 13 04 05 16 36 45 44 33", '9': "43 13 02 01 10 30 41 45 36 16",
	'A': "06 02 20 42 46|04 44", 'B': "00 06 36 45 44 33 03|33 42 41 30 00", 'C': "41 30 10 01 05 16 36 45",
	'D': "00 06 26 44 42 20 00", 'E': "40 00 06 46|03 33", 'F': "40 00 06|03 33",
	'G': "41 30 10 01 05 16 36 45 43 23", 'H': "00 06|40 46|03 43", 'I': "10 30|20 26|16 36",
	'J': "40 45 36 16 05", 'K': "00 06|40 03 46", 'L': "00 06 46", 'M': "06 00 23 40 46", 'N': "06 00 46 40",
	'O': "10 30 41 45 36 16 05 01 10", 'P': "06 00 30 41 42 33 03", 'Q': "10 30 41 45 36 16 05 01 10|24 46",
	'R': "06 00 30 41 42 33 03|23 46", 'S': "41 30 10 01 02 13 33 44 45 36 16 05", 'T': "00 40|20 26",
	'U': "00 05 16 36 45 40", 'V': "00 26 40", 'W': "00 16 23 36 40", 'X': "00 46|40 06", 'Y': "00 23 40|23 26",
	'Z': "00 40 06 46", '+': "03 43|21 25", '-': "03 43", '.': "25 26", ',': "25 17", ' ': "",
}
