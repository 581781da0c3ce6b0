package library_test

import "chipassay/vectors/part"

// The dual peripheral drivers in 8 pins: AND, NAND, OR and NOR as their truth
// tables by both inputs, a high released. Source: the peripheral driver data
// book, from memory.
var _ = addTruths74(map[string]truth{
	"75451 75461 75471": func(is part.Pins) levels { return peripheral(is, [4]int{0, 0, 0, 1}) },
	"75452 75462 75472": func(is part.Pins) levels { return peripheral(is, [4]int{1, 1, 1, 0}) },
	"75453 75463 75473": func(is part.Pins) levels { return peripheral(is, [4]int{0, 1, 1, 1}) },
	"75454 75464 75474": func(is part.Pins) levels { return peripheral(is, [4]int{1, 0, 0, 0}) },
})

func peripheral(is part.Pins, table [4]int) levels {
	out := levels{}
	for _, g := range [][3]int{{1, 2, 3}, {6, 7, 5}} {
		level := table[number(is, g[0], g[1])]
		put(out, g[2], level)
		release(out, level == 1, g[2])
	}
	return out
}
