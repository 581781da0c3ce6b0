package plan

import (
	"fmt"
	"sync"

	"chipassay/firmware/carrier"
)

type turn int

// Where a part's second pin is, seen from its first; right is a package upright.
const (
	right turn = iota
	down
	left
	up
)

// A spot is the hole of a part's first pin, and how the part is turned.
type spot struct {
	board, x, y int
	turn        turn
}

// Columns and rows of the main board.
const (
	socketLeft  = 26 // pins 1 to 14; 15 to 28 are six holes to the right
	socketRight = 32
	socketTop   = 12
)

// single are the parts that no rule places.
var single = map[string]spot{
	"X1": {0, socketLeft, socketTop, right},
	"X2": {0, 20, socketTop, down},
	"X3": {0, 38, socketTop, down},

	"U21": {0, 10, 1, right}, "C21": {0, 13, 0, left},
	"U22": {0, 56, 1, right}, "C22": {0, 59, 0, left},
	"U31": {0, 10, 11, right}, "C31": {0, 13, 10, left},
	"U32": {0, 56, 11, right}, "C32": {0, 59, 10, left},
	"U11": {0, 10, 22, right}, "C11": {0, 13, 21, left},
	"U12": {0, 10, 30, right}, "C12": {0, 14, 30, down},

	"R812": {0, 0, 9, right}, "R821": {0, 5, 9, right},
	"R813": {0, 0, 19, right}, "R822": {0, 5, 19, right},
	"R811": {0, 4, 21, right},
	"JP1":  {0, 6, 31, down}, "JP2": {0, 2, 11, down}, "JP3": {0, 2, 15, down},

	"F1": {0, 57, 20, left}, "U51": {0, 50, 22, right},
	"R801": {0, 49, 34, right}, "D1": {0, 50, 36, right},
	"R802": {0, 55, 34, right}, "D2": {0, 56, 36, right},
	"R803": {0, 49, 32, right}, "D3": {0, 53, 36, right},
	"S1": {0, 55, 31, right},

	// the far half's board
	"U23": {1, 5, 1, right}, "C23": {1, 8, 0, left},
	"U24": {1, 17, 1, right}, "C24": {1, 20, 0, left},
	"U33": {1, 5, 12, right}, "C33": {1, 8, 11, left},
	"U34": {1, 17, 12, right}, "C34": {1, 20, 11, left},
	"U41": {1, 29, 1, right}, "C41": {1, 32, 0, left},
	"U42": {1, 29, 12, right}, "C42": {1, 32, 11, left},
	"U43": {1, 2, 24, right}, "R831": {1, 2, 26, right}, "C43": {1, 7, 24, right},
	"R814": {1, 12, 24, right},
}

// registerRows says which register's outputs lead to rows of which resistors, and
// whether the sense resistors follow in these rows.
var registerRows = []struct {
	ref, prefix string
	sense       bool
}{
	{"U21", "R3", true}, {"U22", "R3", true}, {"U23", "R3", false}, {"U24", "R3", false},
	{"U31", "R4", false}, {"U32", "R4", false}, {"U33", "R4", false}, {"U34", "R4", false},
}

// lowSides are the transistors of the low side with their gate resistors two rows below, by position.
var lowSides = map[int]spot{
	4: {0, 16, 29, right}, 7: {0, 21, 29, right}, 8: {0, 26, 29, right}, 21: {0, 31, 29, right}, 24: {0, 36, 29, right}, 25: {0, 41, 29, right},
	1: {0, 16, 33, right}, 9: {0, 21, 33, right}, 10: {0, 26, 33, right}, 11: {0, 31, 33, right}, 12: {0, 36, 33, right}, 14: {0, 41, 33, right},
	28: {0, 45, 32, right},
}

// highSides are the transistors of the high side, with base and base-emitter resistors two and three rows below.
var highSides = map[int]spot{
	1: {0, 15, 1, right}, 4: {0, 20, 1, right}, 5: {0, 15, 6, right}, 8: {0, 20, 6, right}, 28: {0, 36, 1, right}, 22: {0, 36, 6, right},
}

// emitterRows are the rows of the capacitors of the high side, beside the socket.
var emitterRows = map[int]int{1: 12, 4: 15, 5: 18, 8: 21, 28: 12, 22: 18}

// spots gives the place of every part by its reference.
var spots = sync.OnceValue(func() map[string]spot {
	all := map[string]spot{}
	for ref, s := range single {
		all[ref] = s
	}
	for _, l := range carrier.Lanes() {
		lane(all, l)
	}
	for position, s := range lowSides {
		all[fmt.Sprintf("Q1%02d", position)] = s
		all[fmt.Sprintf("R5%02d", position)] = spot{s.board, s.x, s.y + 2, right}
	}
	all["R528"] = spot{0, 45, 35, right} // the row above is taken
	for position, s := range highSides {
		all[fmt.Sprintf("Q2%02d", position)] = s
		all[fmt.Sprintf("R6%02d", position)] = spot{s.board, s.x, s.y + 2, right}
		all[fmt.Sprintf("R7%02d", position)] = spot{s.board, s.x, s.y + 3, right}
		ceramic, electrolytic := 21, 23
		if position > 14 {
			ceramic, electrolytic = 37, 35
		}
		all[fmt.Sprintf("C1%02d", position)] = spot{0, ceramic, emitterRows[position], down}
		all[fmt.Sprintf("C2%02d", position)] = spot{0, electrolytic, emitterRows[position], down}
	}
	return all
})

// socketRow is the row of a position.
func socketRow(l carrier.Lane) int {
	if l.Left() {
		return socketTop + l.Position - 1
	}
	return socketTop + 28 - l.Position
}

// lane places the resistors of one position: drive beside the side header, bias and
// load at their registers, sense at the bias resistor or at the converter.
func lane(all map[string]spot, l carrier.Lane) {
	drive := spot{0, 16, socketRow(l), right}
	if !l.Left() {
		drive = spot{0, 42, socketRow(l), left}
	}
	all[fmt.Sprintf("R1%02d", l.Position)] = drive
	for _, rows := range registerRows {
		for _, at := range []string{l.Bias, l.Load} {
			if at[:3] != rows.ref {
				continue
			}
			s := outputSpot(all[rows.ref], at[4:])
			all[fmt.Sprintf("%s%02d", rows.prefix, l.Position)] = s
			if rows.sense {
				s.x -= 5
				all[fmt.Sprintf("R2%02d", l.Position)] = s
			}
		}
	}
	if !l.Near() {
		u := all[l.Sense[:3]]
		all[fmt.Sprintf("R2%02d", l.Position)] = spot{u.board, u.x - 4, u.y + int(l.Sense[6]-'0'), right}
	}
}

// outputSpot is the spot of the resistor at a register's output, QA to QH. QB to QH are
// pins 1 to 7, on the left; QA lies on the other side, so its resistor has the row above pin 1.
func outputSpot(u spot, output string) spot {
	return spot{u.board, u.x - 1, u.y + int(output[1]-'A') - 1, left}
}

// landings gives the hole of each of the microcontroller's lines, by the line or by
// the board's label.
var landings = sync.OnceValue(func() map[string]Hole {
	holes := map[string]Hole{}
	beside := func(ref string, far int) Hole { // beyond the end of a lying resistor
		s := spots()[ref]
		x, y := s.turned(float64(far), 0)
		return Hole{s.board, int(x), int(y)}
	}
	for _, l := range carrier.Lanes() {
		holes[l.Drive] = beside(fmt.Sprintf("R1%02d", l.Position), -1)
		if l.Near() {
			holes[l.Sense] = beside(fmt.Sprintf("R2%02d", l.Position), 4)
		}
		if l.High != "" {
			holes[l.High] = beside(fmt.Sprintf("R6%02d", l.Position), -1)
		}
	}
	for i, line := range []string{"PC6", "PC7", "PD7", "PB6", "PJ1", "PG0", "PG2", "PD2", "PG1", "PG5", "PD3"} {
		holes[line] = Hole{0, 0, 22 + i}
	}
	holes["5V-1"], holes["5V-2"], holes["5V-3"] = Hole{0, 3, 24}, Hole{0, 3, 25}, Hole{0, 59, 20} // the last for the fuse
	holes["GND-1"], holes["GND-2"], holes["GND-3"] = Hole{0, 3, 27}, Hole{0, 14, 27}, Hole{0, 14, 36}
	holes["GND-4"], holes["GND-5"] = Hole{0, 45, 28}, Hole{0, 45, 12}
	holes["PD0"], holes["PD1"] = Hole{0, 52, 20}, Hole{0, 53, 20}
	holes["PE3"], holes["PE5"], holes["PB7"] = beside("R801", -1), beside("R802", -1), beside("R803", -1)
	holes["PE4"] = Hole{0, 54, 31}
	holes["PJ0"] = Hole{1, 17, 24}
	return holes
})
