package library_test

import (
	"maps"
	"math/bits"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// Comparators and parity trees of the 7400 series, as integers and counts of
// ones. Source: the TTL data books, from memory, but for the 74L85.
var _ = addTruths74(map[string]truth{
	// The two pinouts have no output pin in common, so both are given at once, each
	// from the pins of its own inputs.
	"7485": func(is part.Pins) levels {
		out := sevenEightyFive(is)
		maps.Copy(out, lowPowerEightyFive(is))
		return out
	},
	"74682 74684": func(is part.Pins) levels {
		p, q := bytesOf(is)
		return levels{1: logic.FromBool(p <= q), 19: logic.FromBool(p != q)}
	},
	"74683 74685": func(is part.Pins) levels {
		p, q := bytesOf(is)
		out := levels{1: logic.Zero, 19: logic.Zero}
		release(out, p <= q, 1)
		release(out, p != q, 19)
		return out
	},
	"74688 74520 74521": func(is part.Pins) levels {
		p, q := bytesOf(is)
		return levels{19: logic.FromBool(is.Has(1) || p != q)}
	},
	"74689 74522": func(is part.Pins) levels {
		p, q := bytesOf(is)
		out := levels{19: logic.Zero}
		release(out, is.Has(1) || p != q, 19)
		return out
	},
	"74518 74519": func(is part.Pins) levels {
		p, q := bytesOf(is)
		out := levels{19: logic.Zero}
		release(out, !is.Has(1) && p == q, 19)
		return out
	},
	"74180": func(is part.Pins) levels {
		odd := bits.OnesCount(uint(number(is, 8, 9, 10, 11, 12, 13, 1, 2))) % 2
		// the function table by EVEN and ODD: the two outputs for an even and for an odd sum
		table := [4][2]int{{0b11, 0b11}, {0b01, 0b10}, {0b10, 0b01}, {0b00, 0b00}}
		out := levels{}
		show(out, table[number(is, 3, 4)][odd], 5, 6)
		return out
	},
	"74280": func(is part.Pins) levels {
		ones := bits.OnesCount(uint(number(is, 8, 9, 10, 11, 12, 13, 1, 2, 4)))
		return levels{5: logic.FromBool(ones%2 == 0), 6: logic.FromBool(ones%2 == 1)}
	},
	"7487": func(is part.Pins) levels {
		a := number(is, 13, 10, 5, 2)
		out := levels{}
		show(out, []int{15 - a, a, 15, 0}[number(is, 8, 1)], 12, 9, 6, 3)
		return out
	},
})

// sevenEightyFive is the 7485: for equal words by its table of the cascade inputs.
func sevenEightyFive(is part.Pins) levels {
	a, b := number(is, 15, 13, 12, 10), number(is, 1, 14, 11, 9)
	// outputs A<B A=B A>B by the inputs A<B A=B A>B
	cascade := [8]int{0b101, 0b001, 0b010, 0b010, 0b100, 0b000, 0b010, 0b010}
	return compared(a, b, cascade[number(is, 2, 3, 4)], 7, 6, 5)
}

// lowPowerEightyFive is the 74L85, which passes any cascade inputs on for equal
// words. Source: MM74C85 data sheet, May 2002, truth table.
func lowPowerEightyFive(is part.Pins) levels {
	a, b := number(is, 15, 2, 7, 10), number(is, 14, 1, 9, 11)
	return compared(a, b, number(is, 5, 6, 4), 12, 3, 13)
}

// bytesOf are the words P and Q of the 8-bit comparators in 20 pins.
func bytesOf(is part.Pins) (p, q int) {
	return number(is, 17, 15, 13, 11, 8, 6, 4, 2), number(is, 18, 16, 14, 12, 9, 7, 5, 3)
}
