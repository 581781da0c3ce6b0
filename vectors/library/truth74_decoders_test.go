package library_test

import (
	"math/bits"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// tenLines are the outputs 0 to 9 of a decimal decoder with supply pins at the corners.
var tenLines = []int{1, 2, 3, 4, 5, 6, 7, 9, 10, 11}

// nixieLines are those of the decoders for cold-cathode displays.
var nixieLines = []int{16, 15, 8, 9, 13, 14, 11, 10, 1, 2}

// Decoders and demultiplexers of the 7400 series: one of n, by an index; a
// negative index is no output. Source: the TTL data books, from memory.
var _ = addTruths74(map[string]truth{
	"7442": func(is part.Pins) levels { return oneLow(decimal(is), tenLines...) },
	"7443": func(is part.Pins) levels { return oneLow(decimal(is)-3, tenLines...) },
	"7444": func(is part.Pins) levels {
		// from a Gray code to a number: each bit is the parity of those from it up
		gray, n := uint(decimal(is)), 0
		for i := range 4 {
			n |= bits.OnesCount(gray>>i) % 2 << i
		}
		return oneLow(n-3, tenLines...)
	},
	"7445 74145 74445": func(is part.Pins) levels { return oneSinks(decimal(is), tenLines...) },
	"74141":            func(is part.Pins) levels { return oneSinks(number(is, 4, 7, 6, 3), nixieLines...) },
	"7441": func(is part.Pins) levels {
		if n := number(is, 4, 7, 6, 3); n <= 9 {
			return oneSinks(n, nixieLines...)
		}
		return unknown(nixieLines...)
	},
	"74138": func(is part.Pins) levels { return oneLow(eightLines(is), 15, 14, 13, 12, 11, 10, 9, 7) },
	"74238": func(is part.Pins) levels {
		out := levels{}
		oneOf(out, eightLines(is), true, 15, 14, 13, 12, 11, 10, 9, 7)
		return out
	},
	"74139": func(is part.Pins) levels { return twoOfFour(is, false) },
	"74239": func(is part.Pins) levels { return twoOfFour(is, true) },
	"74154": func(is part.Pins) levels { return oneLow(sixteenLines(is), sixteen...) },
	"74159": func(is part.Pins) levels { return oneSinks(sixteenLines(is), sixteen...) },
	"74155": func(is part.Pins) levels { return commonAddress(is) },
	"74156": func(is part.Pins) levels {
		out := commonAddress(is)
		for pin, v := range out {
			release(out, v == logic.One, pin)
		}
		return out
	},
})

// decimal is the code at the inputs D C B A of the 7442.
func decimal(is part.Pins) int { return number(is, 12, 13, 14, 15) }

// oneLow pulls the output with a number low, and all others high.
func oneLow(n int, pins ...int) levels {
	out := levels{}
	oneOf(out, n, false, pins...)
	return out
}

// oneSinks lets the output with a number sink, and releases all others.
func oneSinks(n int, pins ...int) levels {
	out := oneLow(n, pins...)
	for _, pin := range pins {
		release(out, out[pin] == logic.One, pin)
	}
	return out
}

// either is the number if the condition holds, and no output if not.
func either(when bool, n int) int {
	if when {
		return n
	}
	return -1
}

func eightLines(is part.Pins) int {
	return either(is.Has(6) && !is.Has(4) && !is.Has(5), number(is, 3, 2, 1))
}

var sixteen = []int{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 13, 14, 15, 16, 17}

func sixteenLines(is part.Pins) int {
	return either(!is.Has(18) && !is.Has(19), number(is, 20, 21, 22, 23))
}

func twoOfFour(is part.Pins, active bool) levels {
	out := levels{}
	oneOf(out, either(!is.Has(1), number(is, 3, 2)), active, 4, 5, 6, 7)
	oneOf(out, either(!is.Has(15), number(is, 13, 14)), active, 12, 11, 10, 9)
	return out
}

// commonAddress is the 74155: section 1 has a true data input, section 2 an inverting one.
func commonAddress(is part.Pins) levels {
	address := number(is, 3, 13)
	out := levels{}
	oneOf(out, either(!is.Has(2) && is.Has(1), address), false, 7, 6, 5, 4)
	oneOf(out, either(!is.Has(14) && !is.Has(15), address), false, 9, 10, 11, 12)
	return out
}
