package main

import (
	"testing"

	"chipassay/firmware/carrier/board"
)

// Two nets cross, and a third has to be joined between their pads: on two layers
// there is always a way.
func TestCrossing(t *testing.T) {
	pad := func(ref, net string, x, y int) board.Pad {
		at := board.Point{X: x * 254, Y: y * 254}
		return board.Pad{Ref: ref, Number: "1", Net: net, Drill: 800, Shape: board.Capsule{A: at, B: at, Radius: 700}}
	}
	b := &board.Board{Size: board.Point{X: 60 * 254, Y: 60 * 254}, Pads: []board.Pad{
		pad("A", "a", 10, 10), pad("B", "a", 50, 50), pad("C", "b", 50, 10), pad("D", "b", 10, 50),
		pad("E", "c", 30, 10), pad("F", "c", 30, 50), pad("G", "c", 10, 30), pad("H", "c", 50, 30),
	}}
	r := newRouter(b)
	for round := 1; r.round(round) > 0; round++ {
		if round == 50 {
			t.Fatal("no way found")
		}
	}
	r.tidy()
	r.copper(b)
	for _, fault := range b.Faults() {
		t.Error(fault)
	}
	layers := map[board.Layer]bool{}
	for _, track := range b.Tracks {
		layers[track.Layer] = true
	}
	if len(layers) < 2 {
		t.Error("two nets cross on one layer")
	}
}

// The same board gives the same tracks.
func TestRoutesRepeat(t *testing.T) {
	at := func(x, y int) board.Capsule {
		p := board.Point{X: x * 254, Y: y * 254}
		return board.Capsule{A: p, B: p, Radius: 700}
	}
	routes := func() string {
		b := &board.Board{Size: board.Point{X: 60 * 254, Y: 60 * 254}, Pads: []board.Pad{
			{Ref: "A", Net: "a", Shape: at(10, 10), Drill: 800}, {Ref: "B", Net: "a", Shape: at(50, 45), Drill: 800},
		}}
		r := newRouter(b)
		r.round(1)
		r.copper(b)
		return b.Routes()
	}
	if first, second := routes(), routes(); first != second {
		t.Error("the tracks differ from one time to the next")
	}
}
