package plan

import (
	"fmt"
	"math"

	"chipassay/firmware/carrier"
	"chipassay/firmware/carrier/draw"
)

// crowded is the number of wires from which on a page ends with a switch of one position.
const crowded = 18

// stages draws a page for each stage of each group and board, with the stage's
// wires and what is there already.
func stages(n *carrier.Netlist, all []Placed) []*draw.Page {
	wires := Wires(n, all)
	checks := readings(n)
	soldered := map[string]int{} // the step of a part's first wire
	for _, w := range wires {
		for _, t := range []carrier.Terminal{w.From, w.To} {
			if t.Part != nil && soldered[t.Part.Ref] == 0 {
				soldered[t.Part.Ref] = w.Step
			}
		}
	}
	var pages []*draw.Page
	for i := 0; i < len(wires); {
		j := i
		for j < len(wires) && wires[j].Group == wires[i].Group && wires[j].Stage == wires[i].Stage {
			if j-i >= crowded && wires[j].From.Part.Position != wires[j-1].From.Part.Position && wires[j].From.Part.Kind != carrier.Resistor {
				break
			}
			j++
		}
		then := ""
		if ends := j == len(wires) || wires[j].Stage != wires[i].Stage || wires[j].Group != wires[i].Group; ends {
			then = checks[stageName{wires[i].Group, wires[i].Stage}]
		}
		for board := range Sizes {
			if p := stage(wires[i:j], all, board, soldered, then); p != nil {
				pages = append(pages, p)
			}
		}
		i = j
	}
	return pages
}

type stageName struct {
	group carrier.Group
	stage string
}

// readings says which steps are the readings of each stage.
func readings(n *carrier.Netlist) map[stageName]string {
	first, words := map[stageName]int{}, map[stageName]string{}
	for i, s := range n.Wiring() {
		if s.Check == "" {
			continue
		}
		key := stageName{s.Group, s.Stage}
		if first[key] == 0 {
			first[key] = i + 1
		}
		words[key] = fmt.Sprintf(" Then measure: steps %d to %d of wiring.csv.", first[key], i+1)
	}
	return words
}

// stage draws the wires of a stage that begin on a board; nil if there are none.
func stage(wires []Wire, all []Placed, board int, soldered map[string]int, then string) *draw.Page {
	var here []Wire
	for _, w := range wires {
		if w.A.Board == board {
			here = append(here, w)
		}
	}
	if len(here) == 0 {
		return nil
	}
	first, last := wires[0].Step, wires[len(wires)-1].Step
	title := fmt.Sprintf("%v: %s", wires[0].Group, wires[0].Stage)
	p := page(board, title, fmt.Sprintf("Steps %d to %d on the %s, seen from the parts' side; the wires run on the other side.%s", first, last, Sizes[board].Name, then))
	drawParts(p, all, board, func(part *carrier.Part) state { return stateOf(part, first, last, soldered) })
	for i, w := range here {
		wire(p, w, wireColours[i%len(wireColours)])
	}
	list(p, here, board)
	return p
}

// stateOf reports whether a part is soldered in within these steps, before or later.
func stateOf(part *carrier.Part, first, last int, soldered map[string]int) state {
	switch step := soldered[part.Ref]; {
	case step == 0 || step > last:
		return later
	case step >= first:
		return here
	}
	return before
}

// wire draws a wire with its step; one to the other board as a stub.
func wire(p *draw.Page, w Wire, colour string) {
	if w.To.Part == nil {
		return
	}
	a, b := w.A.at(), w.B.at()
	if w.A.Board != w.B.Board {
		b = a.Plus(scale*0.8*w.outward, 0)
	}
	p.Line(draw.Style{Stroke: colour, Width: 0.55}, a, b)
	p.Circle(draw.Style{Fill: colour}, a, 0.6)
	if w.A.Board == w.B.Board {
		p.Circle(draw.Style{Fill: colour}, b, 0.6)
	}
	if w.Short() {
		return
	}
	length := math.Hypot(b.X-a.X, b.Y-a.Y)
	along := min(5.5, length/2) / length
	t := draw.Text{At: draw.Point{X: a.X + (b.X-a.X)*along, Y: a.Y + (b.Y-a.Y)*along + 0.55}, Size: tiny, Anchor: draw.Middle, Colour: colour, Words: fmt.Sprint(w.Step)}
	if w.A.Board != w.B.Board {
		t.At = b.Plus(2.2*w.outward, 0.55)
	}
	from, to := t.Bounds()
	p.Box(draw.Style{Fill: "#ffffff"}, from.Plus(-0.3, -0.2), to.X-from.X+0.6, to.Y-from.Y+0.2)
	p.Text(t)
}

// list writes the wires as words to the right of the board.
func list(p *draw.Page, wires []Wire, board int) {
	left := at(float64(Sizes[board].X)+1, 0).X
	row := min(3.0, (pageHeight-34)/float64(len(wires)))
	for i, w := range wires {
		y := boardY + row*float64(i)
		words := fmt.Sprintf("%s – %s", name(w.From), supplyOr(w))
		if w.To.Part != nil && w.B.Board != board {
			words += ", " + [...]string{"main board", "far board"}[w.B.Board]
		}
		p.Text(draw.Text{At: draw.Point{X: left + 6, Y: y}, Size: small, Anchor: draw.End, Bold: true, Colour: wireColours[i%len(wireColours)], Words: fmt.Sprint(w.Step)})
		p.Text(draw.Text{At: draw.Point{X: left + 7.5, Y: y}, Size: small, Words: words})
	}
}

// supplyOr names the supply that a wire brings, or the other end.
func supplyOr(w Wire) string {
	switch {
	case w.To.Part == nil:
		return w.From.Pin.Net + " begins here"
	case w.From.Pin.Net == "GND" || w.From.Pin.Net == "+5V" || w.From.Pin.Net == "SUPPLY":
		return w.From.Pin.Net + " at " + name(w.To)
	}
	return name(w.To)
}

// name names a lead as one finds it: by what stands beside it on the board.
func name(t carrier.Terminal) string {
	if t.Part.Kind == carrier.Resistor || t.Part.Kind == carrier.MCU && t.Pin.Net == t.Pin.Number[:min(len(t.Pin.Number), len(t.Pin.Net))] {
		return t.Part.Ref + "." + t.Pin.Number
	}
	return fmt.Sprintf("%s.%s (%s)", t.Part.Ref, t.Pin.Number, t.Pin.Name)
}
