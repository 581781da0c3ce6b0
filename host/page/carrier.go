package page

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"

	"chipassay/firmware/carrier"
	"chipassay/firmware/carrier/board"
	"chipassay/host/report"
	"chipassay/host/selfcheck"
)

// printed is the carrier as a printed board. One that was built by hand has the same
// references elsewhere.
var printed = sync.OnceValue(func() *board.Board {
	b, err := board.Committed(carrier.New())
	if err != nil {
		panic(err) // it is embedded, and tested
	}
	return b
})

// carrierParts is the drawing of all parts, from the top, which the pictures of a page
// show by reference: mm from the top left corner. What belongs to a group has its name as
// a class, so that a picture can show what is not fitted.
var carrierParts = sync.OnceValue(func() template.HTML {
	var bodies [5]strings.Builder // by group
	var pads, names strings.Builder
	var under board.Rect
	for _, o := range printed().Outlines() {
		for _, p := range o.Pads {
			at := p.Shape.Centre()
			fmt.Fprintf(&pads, "M%s %sh0", inMM(at.X), inMM(at.Y))
		}
		if o.Part.Kind == carrier.MCU {
			under = o.Body
			continue
		}
		drawBody(&bodies[max(o.Part.Group, o.Part.Needs)], o)
		drawName(&names, o)
	}
	var b strings.Builder
	size := printed().Size
	fmt.Fprintf(&b, `<g id="carrier-parts"><rect class="edge" width="%s" height="%s" rx="2"/>`, inMM(size.X), inMM(size.Y))
	fmt.Fprintf(&b, `<rect class="under" x="%s" y="%s" width="%s" height="%s" rx="2"/>`, inMM(under.Min.X), inMM(under.Min.Y), inMM(under.Max.X-under.Min.X), inMM(under.Max.Y-under.Min.Y))
	for _, g := range carrier.AllGroups() {
		fmt.Fprintf(&b, `<path class="parts of-%s" d="%s"/>`, g, bodies[g].String())
	}
	fmt.Fprintf(&b, `<path class="pads" d="%s"/><g class="names">%s</g></g>`, pads.String(), names.String())
	return template.HTML(b.String())
})

// inMM writes µm in mm to a hundredth.
func inMM(um int) string {
	return strings.TrimSuffix(strings.TrimRight(strconv.FormatFloat(float64(um)/1000, 'f', 2, 64), "0"), ".")
}

func drawBody(b *strings.Builder, o board.Outline) {
	w, h := o.Body.Max.X-o.Body.Min.X, o.Body.Max.Y-o.Body.Min.Y
	if o.Round {
		d := min(w, h)
		x, y := (o.Body.Min.X+o.Body.Max.X-d)/2, (o.Body.Min.Y+o.Body.Max.Y)/2
		fmt.Fprintf(b, "M%s %sa%[3]s %[3]s 0 1 0 %[4]s 0a%[3]s %[3]s 0 1 0 -%[4]s 0z", inMM(x), inMM(y), inMM(d/2), inMM(d))
		return
	}
	fmt.Fprintf(b, "M%s %sh%sv%sh-%sz", inMM(o.Body.Min.X), inMM(o.Body.Min.Y), inMM(w), inMM(h), inMM(w))
}

// drawName writes a part's reference along its longer side; those of the socket and of
// the headers are the names of its positions.
func drawName(b *strings.Builder, o board.Outline) {
	middle := board.Point{X: (o.Body.Min.X + o.Body.Max.X) / 2, Y: (o.Body.Min.Y + o.Body.Max.Y) / 2}
	switch o.Part.Kind {
	case carrier.Header:
		return
	case carrier.Socket:
		for _, l := range carrier.Lanes() {
			wide, narrow := positionPads(l.Position)[0].Shape.Centre(), positionPads(l.Position)[1].Shape.Centre()
			fmt.Fprintf(b, `<text class="row" x="%s" y="%s" dy="0.35em" text-anchor="middle">%s</text>`, inMM((wide.X+narrow.X)/2), inMM(wide.Y), l.Name)
		}
		return
	}
	w, h := o.Body.Max.X-o.Body.Min.X, o.Body.Max.Y-o.Body.Min.Y
	class := ""
	if o.Part.Kind == carrier.Register || o.Part.Kind == carrier.Converter || o.Part.Kind == carrier.Monitor {
		class = ` class="large"`
	}
	turn := ""
	if h > w {
		turn = fmt.Sprintf(` transform="rotate(-90 %s %s)"`, inMM(middle.X), inMM(middle.Y))
	}
	fmt.Fprintf(b, `<text x="%s" y="%s" dy="0.35em" text-anchor="middle"%s%s>%s</text>`, inMM(middle.X), inMM(middle.Y), class, turn, template.HTMLEscapeString(o.Part.Ref))
}

// positionPads are the socket's two pads of a position, the wide one first.
func positionPads(position int) (pads []board.Pad) {
	for _, p := range printed().Pads {
		if p.Ref == "X1" && p.Number == strconv.Itoa(position) {
			pads = append(pads, p)
		}
	}
	return pads
}

// A faultSpot is a place on the drawing that a fault names.
type faultSpot struct {
	Words          string
	X, Y, W, H     string // of the frame around a part, mm; empty W: none
	CX, CY         string // of the ring around a pad
	ToX, ToY       string // of the other pad that it touches; empty for none
	LabelX, LabelY string
	box            board.Rect
}

// A faultMark is a fault on the drawing.
type faultMark struct {
	selfcheck.Fault
	Number         int // from 1
	Spots          []faultSpot
	Top, Bottom    string // copper of the lines that it has to do with, as paths
	BadgeX, BadgeY string // on the whole board, mm
	Anchor         string // of the badge's word
	Close          string // what of the board is shown near by, as a view box
	Missing        string // classes that show the groups that are not fitted
}

// Title is what is wrong, as a sentence.
func (m faultMark) Title() string { return report.Sentence(m.What) }

// mostSpots is how many places of a fault are marked; the words name all.
const mostSpots = 6

// marksOf puts the faults of a report on the drawing.
func marksOf(r *selfcheck.Report) (marks []faultMark) {
	var badges []board.Point
	for i, f := range r.Faults() {
		m := faultMark{Fault: f, Number: i + 1}
		nets := map[string]bool{}
		for _, place := range f.Places() {
			if s, ok := spotOf(place, nets); ok && len(m.Spots) < mostSpots {
				if len(m.Spots)%2 == 1 { // names of neighbours are not written over each other
					s.LabelY = inMM(s.box.Max.Y + 2400)
				}
				m.Spots = append(m.Spots, s)
			}
		}
		if f.Position != 0 {
			l := carrier.LaneAt(f.Position)
			nets[l.Name] = true
			if len(m.Spots) == 0 {
				m.Spots = append(m.Spots, padSpot(l.Name, positionPads(f.Position)[0]))
			}
		}
		m.Top, m.Bottom = copper(nets, board.Top), copper(nets, board.Bottom)
		if len(m.Spots) > 0 {
			at := m.Spots[0].box
			badge := board.Point{X: at.Max.X + 3000, Y: at.Min.Y - 1500}
			for slices.ContainsFunc(badges, func(o board.Point) bool {
				return math.Abs(float64(o.X-badge.X)) < 20_000 && math.Abs(float64(o.Y-badge.Y)) < 6000
			}) {
				badge.Y += 6000
			}
			badges = append(badges, badge)
			if m.Anchor = "start"; badge.X > printed().Size.X-25_000 {
				m.Anchor, badge.X = "end", at.Min.X-3000
			}
			m.BadgeX, m.BadgeY = inMM(badge.X), inMM(badge.Y)
			m.Close = closeUp(m.Spots)
		}
		marks = append(marks, m)
	}
	return marks
}

// spotOf is where a place is on the board. The lines that it has to do with are added to nets.
func spotOf(place selfcheck.Place, nets map[string]bool) (faultSpot, bool) {
	b := printed()
	if place.Ref == "" {
		of, found := b.Nearest(place.Nets[0], place.Nets[1])
		if !found {
			return faultSpot{}, false
		}
		s := padSpot(place.String(), of[0])
		to := of[1].Shape.Centre()
		s.ToX, s.ToY, s.box = inMM(to.X), inMM(to.Y), both(s.box, ringOf(of[1]))
		addLines(nets, place.Nets[0], place.Nets[1])
		return s, true
	}
	for _, o := range b.Outlines() {
		if o.Part.Ref != place.Ref {
			continue
		}
		for _, p := range o.Pads {
			if p.Number == place.Pin {
				addLines(nets, p.Net)
				return padSpot(place.String(), p), true
			}
		}
		if o.Part.Kind == carrier.Resistor {
			addLines(nets, o.Part.Pins[0].Net, o.Part.Pins[1].Net)
		}
		r := board.Rect{Min: board.Point{X: o.Body.Min.X - 700, Y: o.Body.Min.Y - 700}, Max: board.Point{X: o.Body.Max.X + 700, Y: o.Body.Max.Y + 700}}
		return faultSpot{Words: place.String(), X: inMM(r.Min.X), Y: inMM(r.Min.Y), W: inMM(r.Max.X - r.Min.X), H: inMM(r.Max.Y - r.Min.Y),
			LabelX: inMM((r.Min.X + r.Max.X) / 2), LabelY: inMM(r.Min.Y - 900), box: r}, true
	}
	return faultSpot{}, false
}

// padSpot is a ring around a pad.
func padSpot(words string, p board.Pad) faultSpot {
	at := p.Shape.Centre()
	return faultSpot{Words: words, CX: inMM(at.X), CY: inMM(at.Y), LabelX: inMM(at.X), LabelY: inMM(at.Y - 2200), box: ringOf(p)}
}

// ringOf is the room of a pad's ring.
func ringOf(p board.Pad) board.Rect {
	at := p.Shape.Centre()
	return board.Rect{Min: board.Point{X: at.X - 1500, Y: at.Y - 1500}, Max: board.Point{X: at.X + 1500, Y: at.Y + 1500}}
}

func both(a, b board.Rect) board.Rect {
	return board.Rect{Min: board.Point{X: min(a.Min.X, b.Min.X), Y: min(a.Min.Y, b.Min.Y)}, Max: board.Point{X: max(a.Max.X, b.Max.X), Y: max(a.Max.Y, b.Max.Y)}}
}

// addLines adds nets that are lines and no supplies, which are everywhere.
func addLines(nets map[string]bool, names ...string) {
	for _, n := range names {
		nets[n] = n != "" && n != "+5V" && n != "GND" && n != "SUPPLY" && n != "FUSED"
	}
}

// copper is that of some nets on a layer, as a path.
func copper(nets map[string]bool, l board.Layer) string {
	var b strings.Builder
	for _, t := range printed().Tracks {
		if nets[t.Net] && t.Layer == l {
			fmt.Fprintf(&b, "M%s %sL%s %s", inMM(t.From.X), inMM(t.From.Y), inMM(t.To.X), inMM(t.To.Y))
		}
	}
	return b.String()
}

// closeUp is the view box that shows some spots with what is around them, 3 to 2.
func closeUp(spots []faultSpot) string {
	const margin, least, most = 8000, 42_000, 100_000 // µm
	r := spots[0].box
	for _, s := range spots[1:] {
		if all := both(r, s.box); all.Max.X-all.Min.X <= most-2*margin && all.Max.Y-all.Min.Y <= (most-2*margin)*2/3 {
			r = all
		}
	}
	w := max(least, r.Max.X-r.Min.X+2*margin, (r.Max.Y-r.Min.Y+2*margin)*3/2)
	h := w * 2 / 3
	x, y := (r.Min.X+r.Max.X-w)/2, (r.Min.Y+r.Max.Y-h)/2
	return fmt.Sprintf("%s %s %s %s", inMM(x), inMM(y), inMM(w), inMM(h))
}
