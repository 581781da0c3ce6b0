// Package pictures draws the pictures of ../README.md: how the socket is numbered,
// where its switches are, where chips of each size are seated, and the starter's
// parts. They are committed, so the guide can be read without running anything; a
// test reports when they are older than the netlist.
package pictures

import (
	"fmt"

	"chipassay/firmware/carrier"
	"chipassay/firmware/carrier/draw"
	"chipassay/firmware/carrier/plan"
)

const (
	pitch  = 7.0 // mm on paper between two rows of the socket
	across = 26.0
)

const (
	ink   = "#000000"
	grey  = "#888888"
	highs = "#d33b2c" // high-side switch
	lows  = "#2c62d3" // low-side switch
)

var (
	line = draw.Style{Stroke: ink, Width: 0.35}
	body = draw.Style{Stroke: ink, Width: 0.35, Fill: "#f6f3e6"}
	chip = draw.Style{Stroke: ink, Width: 0.35, Fill: "#4a4a4a"}
)

// Files gives the pictures by name.
func Files(n *carrier.Netlist) (map[string][]byte, error) {
	starter, err := plan.Overview(n, carrier.Starter)
	if err != nil {
		return nil, err
	}
	return map[string][]byte{
		"socket.svg":  socket(n).SVG(),
		"seats.svg":   seats().SVG(),
		"starter.svg": starter.SVG(),
	}, nil
}

func words(p *draw.Page, at draw.Point, size float64, anchor draw.Anchor, colour, words string) {
	p.Text(draw.Text{At: at, Size: size, Anchor: anchor, Colour: colour, Words: words})
}

// at is the place of a position in a socket whose first is at a place.
func at(first draw.Point, position int) draw.Point {
	if l := carrier.LaneAt(position); !l.Left() {
		return first.Plus(across, pitch*float64(28-position))
	}
	return first.Plus(0, pitch*float64(position-1))
}

// frame draws a socket with its lever.
func frame(p *draw.Page, first draw.Point, size float64) {
	p.Box(body, first.Plus(-5, -12), across+10, 13*pitch+18)
	p.Line(draw.Style{Stroke: grey, Width: 1.6}, first.Plus(-2, -9), first.Plus(-2, -22))
	p.Circle(draw.Style{Fill: grey}, first.Plus(-2, -22), 1.8)
	words(p, first.Plus(2, -17), size, draw.Start, grey, "lever, open")
}

// switched reports which switches a position has.
func switched(n *carrier.Netlist, position int) (high, low bool) {
	return n.Part(fmt.Sprintf("Q2%02d", position)) != nil, n.Part(fmt.Sprintf("Q1%02d", position)) != nil
}

// socket shows the numbers of the positions, the two halves, and the switches.
func socket(n *carrier.Netlist) *draw.Page {
	p := &draw.Page{Title: "The socket from above", Width: 170, Height: 150}
	first := draw.Point{X: 68, Y: 34}
	frame(p, first, 3)
	near := draw.Style{Fill: "#dcefdc"}
	p.Box(near, first.Plus(-4, -3.4), across+8, 8*pitch-0.2)
	for position := 1; position <= 28; position++ {
		l, here := carrier.LaneAt(position), at(first, position)
		side, anchor := -1.0, draw.End
		inner := draw.Start
		if !l.Left() {
			side, anchor, inner = 1, draw.Start, draw.End
		}
		p.Box(line, here.Plus(-1.6, -1), 3.2, 2)
		words(p, here.Plus(-3*side, 1), 3, inner, ink, fmt.Sprint(position))
		words(p, here.Plus(7*side, 1), 3, anchor, ink, l.Name)
		high, low := switched(n, position)
		if high {
			p.Circle(draw.Style{Fill: highs}, here.Plus(19*side, 0), 1.7)
			words(p, here.Plus(22*side, 1), 2.6, anchor, highs, "high")
		}
		if low {
			p.Circle(draw.Style{Fill: lows}, here.Plus(34*side, 0), 1.7)
			words(p, here.Plus(37*side, 1), 2.6, anchor, lows, "low")
		}
	}
	words(p, first.Plus(across/2, 3.5*pitch), 2.8, draw.Middle, "#2c7a2c", "near half")
	words(p, first.Plus(across/2, 10.5*pitch), 2.8, draw.Middle, grey, "far half")
	words(p, draw.Point{X: 85, Y: 142}, 2.8, draw.Middle, grey, "high: can connect the supply; low: can connect ground")
	return p
}

// seats shows chips of five sizes, each at the lever's end.
func seats() *draw.Page {
	sizes := []int{14, 16, 20, 24, 28}
	p := &draw.Page{Title: "Where a chip sits", Width: 20 + 54*float64(len(sizes)), Height: 150}
	for i, pins := range sizes {
		first := draw.Point{X: 24 + 54*float64(i), Y: 38}
		frame(p, first, 2.8)
		words(p, first.Plus(across/2, 13*pitch+12), 3.4, draw.Middle, ink, fmt.Sprintf("%d pins", pins))
		seat(p, first, pins)
	}
	return p
}

// seat draws a chip: pin p sits at position p on the left, and at 28 - (pins - p) on the right.
func seat(p *draw.Page, first draw.Point, pins int) {
	for position := 1; position <= 28; position++ {
		p.Box(draw.Style{Stroke: grey, Width: 0.25}, at(first, position).Plus(-1.6, -1), 3.2, 2)
	}
	rows := float64(pins / 2)
	p.Box(chip, first.Plus(3, -2.6), across-6, (rows-1)*pitch+5.2)
	p.Circle(draw.Style{Fill: "#f6f3e6"}, first.Plus(across/2, -2.6), 1.8)
	for pin := 1; pin <= pins; pin++ {
		position, inner, anchor := pin, 4.4, draw.Start
		if pin > pins/2 {
			position, inner, anchor = 28-(pins-pin), -4.4, draw.End
		}
		here := at(first, position)
		lead := 3.0
		if inner < 0 {
			lead = -3
		}
		p.Line(draw.Style{Stroke: "#4a4a4a", Width: 1}, here, here.Plus(lead, 0))
		words(p, here.Plus(inner, 0.9), 2.6, anchor, "#ffffff", fmt.Sprint(pin))
	}
}
