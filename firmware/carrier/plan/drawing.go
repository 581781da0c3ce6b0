package plan

import (
	"bytes"
	"fmt"
	"strings"

	"chipassay/firmware/carrier"
	"chipassay/firmware/carrier/draw"
)

const (
	pageWidth, pageHeight = 297.0, 210.0
	scale                 = 3.6 // mm on paper for a hole
	boardX, boardY        = 14.0, 26.0
)

// Sizes of letters, mm.
const (
	tiny  = 1.5
	small = 1.9
	plain = 2.4
	large = 4.0
)

const (
	ink   = "#000000"
	faint = "#b0b0b0"
	hint  = "#555555"
)

// groupFills are the colours of the groups' parts.
var groupFills = map[carrier.Group]string{
	carrier.Starter: "#dcefdc", carrier.Load: "#fdf0cf", carrier.FarHalf: "#dbe8fa", carrier.Switches: "#f9dede", carrier.Converters: "#eadff5",
}

// wireColours follow each other, so that neighbours differ.
var wireColours = []string{"#c00000", "#0050b0", "#00803c", "#c06000", "#7030a0", "#007f8c"}

// at gives the place on paper of a hole, or of a place between holes.
func at(x, y float64) draw.Point { return draw.Point{X: boardX + scale*x, Y: boardY + scale*y} }

func (h Hole) at() draw.Point { return at(float64(h.X), float64(h.Y)) }

// page begins a page with a board on it.
func page(board int, title, subtitle string) *draw.Page {
	p := &draw.Page{Title: title, Width: pageWidth, Height: pageHeight}
	p.Text(draw.Text{At: draw.Point{X: boardX - 4, Y: 13}, Size: large, Bold: true, Words: title})
	p.Text(draw.Text{At: draw.Point{X: boardX - 4, Y: 18}, Size: plain, Colour: hint, Words: subtitle})
	size := Sizes[board]
	p.Box(draw.Style{Stroke: "#8a7a50", Width: 0.4, Fill: "#fcfaf2"}, at(-0.9, -0.9), scale*(float64(size.X)+0.8), scale*(float64(size.Y)+0.8))
	holes := draw.Style{Stroke: "#dcd4bc", Width: 0.9, Dash: [2]float64{0, scale}}
	for x := range size.X {
		if x%5 == 0 {
			p.Text(draw.Text{At: at(float64(x), -1.2), Size: tiny, Anchor: draw.Middle, Colour: hint, Words: fmt.Sprint(x)})
		}
	}
	for y := range size.Y {
		p.Line(holes, at(0, float64(y)), at(float64(size.X)-0.99, float64(y)))
		if y%5 == 0 {
			p.Text(draw.Text{At: at(-1.3, float64(y)+0.15), Size: tiny, Anchor: draw.End, Colour: hint, Words: fmt.Sprint(y)})
		}
	}
	return p
}

// part draws a part with its leads; faintly, if it is there already.
func part(p *draw.Page, placed Placed, fresh bool) {
	colour, fill := faint, "#f4f4f4"
	if fresh {
		colour, fill = ink, groupFills[placed.Part.Group]
	}
	line := draw.Style{Stroke: colour, Width: 0.25, Fill: fill}
	if placed.Part.Kind == carrier.MCU {
		return
	}
	body(p, placed, line)
	for _, pin := range placed.Part.Pins {
		p.Circle(draw.Style{Fill: colour}, placed.Holes[pin.Number].at(), 0.5)
	}
	marks(p, placed, colour)
	caption(p, placed, colour)
}

// body draws what the part covers.
func body(p *draw.Page, placed Placed, line draw.Style) {
	o := placed.outline
	a, b := placed.Holes[placed.Part.Pins[0].Number].at(), placed.Holes[placed.Part.Pins[len(placed.Part.Pins)-1].Number].at()
	middle := draw.Point{X: (a.X + b.X) / 2, Y: (a.Y + b.Y) / 2}
	switch k := placed.Part.Kind; {
	case k == carrier.Resistor:
		p.Line(line, a, b)
		p.Box(line, middle.Plus(-3.6, -1.4), 7.2, 2.8)
	case k == carrier.LED:
		p.Circle(line, middle, 0.75*scale)
	case k == carrier.Capacitor && placed.Part.Farads >= 1e-6:
		p.Circle(line, middle, 0.96*scale)
	default:
		p.Box(line, at(o.left, o.top), scale*(o.right-o.left), scale*(o.bottom-o.top))
	}
}

// marks writes what shows which way round a part goes: the names of the leads, the notch, the plus.
func marks(p *draw.Page, placed Placed, colour string) {
	small := func(h Hole, x, y float64, words string) {
		p.Text(draw.Text{At: h.at().Plus(x, y), Size: tiny, Anchor: draw.Middle, Colour: colour, Words: words})
	}
	switch placed.Part.Kind {
	case carrier.NMOS, carrier.PNP, carrier.Reference:
		for _, pin := range placed.Part.Pins {
			small(placed.Holes[pin.Number], 0, 2.1, pin.Name)
		}
	case carrier.LED:
		for _, pin := range placed.Part.Pins {
			small(placed.Holes[pin.Number], 0, 2, pin.Name)
		}
	case carrier.Capacitor:
		if placed.Part.Pins[0].Name == "+" {
			small(placed.Holes["1"], 1.6, 0.2, "+")
		}
	case carrier.Register, carrier.Converter:
		one, sixteen := placed.Holes["1"].at(), placed.Holes["16"].at()
		towards := 1.0
		if placed.Holes["8"].Y < placed.Holes["1"].Y {
			towards = -1
		}
		p.Circle(draw.Style{Stroke: colour, Width: 0.3}, draw.Point{X: (one.X + sixteen.X) / 2, Y: one.Y - 0.5*scale*towards}, 0.8)
		small(placed.Holes["1"], 1.4*towards, 0.5, "1")
	case carrier.Monitor:
		for _, pin := range placed.Part.Pins {
			p.Text(draw.Text{At: placed.Holes[pin.Number].at().Plus(0.5, 6), Size: tiny, Up: true, Colour: colour, Words: pin.Name})
		}
	case carrier.Link, carrier.Header:
		small(placed.Holes["1"], 1.1, -0.7, "1")
	case carrier.Socket:
		for _, n := range []string{"1", "14", "15", "28"} {
			small(placed.Holes[n], 0, -0.8, n)
		}
		p.Line(draw.Style{Stroke: colour, Width: 0.8}, placed.Holes["1"].at().Plus(-1*scale, -3*scale), placed.Holes["1"].at().Plus(-1*scale, -4.6*scale))
		p.Text(draw.Text{At: placed.Holes["1"].at().Plus(3*scale, -3.6*scale), Size: tiny, Anchor: draw.Middle, Colour: colour, Words: "lever"})
	}
}

// caption writes the part's reference, and its value where there is room.
func caption(p *draw.Page, placed Placed, colour string) {
	o, ref := placed.outline, placed.Part.Ref
	middle := at((o.left+o.right)/2, (o.top+o.bottom)/2)
	t := draw.Text{At: middle.Plus(0, 0.6), Size: small, Anchor: draw.Middle, Colour: colour, Words: ref}
	switch placed.Part.Kind {
	case carrier.NMOS, carrier.PNP, carrier.Reference:
		t.At = middle.Plus(0, -1)
	case carrier.LED, carrier.Fuse:
		t.At = middle.Plus(0, -0.8*scale-0.5)
	case carrier.Link:
		t.Up, t.At = true, middle.Plus(3.6, 0)
	case carrier.Capacitor:
		if o.bottom-o.top > o.right-o.left {
			t.Up, t.At = true, middle.Plus(0.7, 0)
		}
		if placed.Part.Farads >= 1e-6 {
			t.Up, t.At, t.Size = false, middle.Plus(0, 0.5), tiny
		}
	case carrier.Header:
		t.At = at((o.left+o.right)/2, o.bottom).Plus(0, 2)
	}
	p.Text(t)
	if k := placed.Part.Kind; k == carrier.Register || k == carrier.Converter || k == carrier.Socket {
		p.Text(draw.Text{At: middle.Plus(0, 3), Size: tiny, Anchor: draw.Middle, Colour: colour, Words: placed.Part.Value})
	}
}

// landing draws where a line of the microcontroller's board is soldered in, with
// the label that the board has there.
func landing(p *draw.Page, h Hole, label string, fresh bool) {
	colour, fill := faint, "#f4f4f4"
	if fresh {
		colour, fill = "#7a4a00", "#ffd9a0"
	}
	p.Circle(draw.Style{Stroke: colour, Width: 0.3, Fill: fill}, h.at(), 1.6)
	p.Text(draw.Text{At: h.at().Plus(0, 0.5), Size: 1.3, Anchor: draw.Middle, Colour: colour, Words: shortLabel(label)})
}

// shortLabel fits a label into a landing: G1 for the first GND pin, 5V for any of 5 V.
func shortLabel(label string) string {
	if strings.HasPrefix(label, "5V") {
		return "5V"
	}
	return strings.Replace(label, "GND-", "G", 1)
}

// behind draws a board as one sees it when one solders.
func behind(all []Placed, board int) *draw.Page {
	middle := (at(0, 0).X + at(float64(Sizes[board].X-1), 0).X) / 2
	return overview(all, board, "The same from the solder side: "+Sizes[board].Name).Mirrored(middle)
}

// overview draws all parts of a board, coloured by group.
func overview(all []Placed, board int, title string) *draw.Page {
	p := page(board, title,
		"Wires run on the solder side. Round: jumper wires to these labels (G1 to G5: GND).")
	drawParts(p, all, board, func(*carrier.Part) state { return here })
	for i, g := range carrier.AllGroups() {
		y := pageHeight - 14.0
		x := boardX + 27*float64(i)
		p.Box(draw.Style{Stroke: ink, Width: 0.25, Fill: groupFills[g]}, draw.Point{X: x, Y: y - 2.4}, 5, 3)
		p.Text(draw.Text{At: draw.Point{X: x + 7, Y: y}, Size: plain, Words: g.String()})
	}
	return p
}

// Overview draws the main board with the parts of one group.
func Overview(n *carrier.Netlist, g carrier.Group) (*draw.Page, error) {
	all, err := Place(n)
	if err != nil {
		return nil, err
	}
	p := page(0, "The parts of the "+g.String(), "Main board, seen from the parts' side.")
	corner := at(float64(Sizes[0].X)+1, float64(Sizes[0].Y)+1)
	p.Width, p.Height = corner.X, corner.Y
	drawParts(p, all, 0, func(part *carrier.Part) state {
		if part.Group == g {
			return here
		}
		return later
	})
	return p, nil
}

// state is whether a part is drawn.
type state int

const (
	later state = iota
	before
	here
)

func drawParts(p *draw.Page, all []Placed, board int, of func(*carrier.Part) state) {
	for _, want := range []state{before, here} {
		for _, placed := range all {
			if placed.Part.Kind != carrier.MCU && placed.Board == board && of(placed.Part) == want {
				part(p, placed, want == here)
			}
		}
	}
	for _, placed := range all {
		if placed.Part.Kind != carrier.MCU {
			continue
		}
		for _, pin := range placed.Part.Pins {
			if h, found := placed.Holes[pin.Number]; found && h.Board == board {
				landing(p, h, pin.Number, of(placed.Part) == here)
			}
		}
	}
}

// Pages draws the whole plan: where everything sits, then a page a stage.
func Pages(n *carrier.Netlist) ([]*draw.Page, error) {
	all, err := Place(n)
	if err != nil {
		return nil, err
	}
	var pages []*draw.Page
	for board := range Sizes {
		pages = append(pages, overview(all, board, "Where the parts sit: "+Sizes[board].Name), behind(all, board))
	}
	return append(pages, stages(n, all)...), nil
}

// Files gives what one prints or looks at: the boards as SVG, and a PDF of all.
func Files(n *carrier.Netlist) (map[string][]byte, error) {
	pages, err := Pages(n)
	if err != nil {
		return nil, err
	}
	var document bytes.Buffer
	if err := draw.PDF(&document, "chipassay adapter, revision B: solder plan", pages...); err != nil {
		return nil, err
	}
	return map[string][]byte{"plan.svg": pages[0].SVG(), "plan-far.svg": pages[2].SVG(), "plan.pdf": document.Bytes()}, nil
}
