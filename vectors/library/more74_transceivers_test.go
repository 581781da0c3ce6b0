package library_test

import (
	"math/bits"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// More transceivers of the 7400 series, by pin numbers. From memory of the bus-interface data
// books, but where a line names its source.
var _ = addTruths74(map[string]truth{
	"742245": func(is part.Pins) levels { return directed(is, crossing{}) },
	"741638": func(is part.Pins) levels { return directed(is, crossing{toA: 1, toB: 1, openA: true}) },
	"741639": func(is part.Pins) levels { return directed(is, crossing{openA: true}) },
	"741641": func(is part.Pins) levels { return directed(is, crossing{openA: true, openB: true}) },
	"741642": func(is part.Pins) levels { return directed(is, crossing{toA: 1, toB: 1, openA: true, openB: true}) },
	"741643": func(is part.Pins) levels { return directed(is, crossing{toB: 1}) },
	"741644": func(is part.Pins) levels { return directed(is, crossing{toB: 1, openA: true, openB: true}) },
	"741620": func(is part.Pins) levels { return enabled(is, crossing{toA: 1, toB: 1}) },
	"741621": func(is part.Pins) levels { return enabled(is, crossing{openA: true, openB: true}) },
	"741622": func(is part.Pins) levels { return enabled(is, crossing{toA: 1, toB: 1, openA: true, openB: true}) },
	"741623": func(is part.Pins) levels { return enabled(is, crossing{}) },

	// Source: M74HC7245, HC7640, HC7643 and HC7645 data sheet, 1994, read
	"747245 747645": func(is part.Pins) levels { return directed(is, crossing{}) },
	"747640":        func(is part.Pins) levels { return directed(is, crossing{toA: 1, toB: 1}) },
	"747643":        func(is part.Pins) levels { return directed(is, crossing{toB: 1}) },

	// Source: 74F545 product specification, 1990, read
	"74545": func(is part.Pins) levels {
		on := !is.Has(9)
		return across(is, on && is.Has(11), on && !is.Has(11), 0, span(1, 8), span(19, 12))
	},
	// Source: SCBS014B, 1993, read
	"74861 7429861": func(is part.Pins) levels {
		return across(is, !is.Has(13), !is.Has(1), 0, span(2, 11), span(23, 14))
	},
	"74862 7429862": func(is part.Pins) levels {
		return across(is, !is.Has(13), !is.Has(1), 1, span(2, 11), span(23, 14))
	},
	// Source: SDAS096C, 1995, read
	"74863 7429863": func(is part.Pins) levels { return nineBits(is, 0) },
	"74864 7429864": func(is part.Pins) levels { return nineBits(is, 1) },

	"74449": func(is part.Pins) levels { return eachDirected(is, 0) },
	"74446": func(is part.Pins) levels { return eachDirected(is, 1) },
})

// across carries levels between two rows of pins, inverted or not. With both directions on
// nothing is said.
func across(is part.Pins, toB, toA bool, invert int, a, b []int) levels {
	if toA && toB {
		return unknown(append(append([]int{}, a...), b...)...)
	}
	out := levels{}
	for i := range a {
		put(out, a[i], lev(is, b[i])^invert)
		put(out, b[i], lev(is, a[i])^invert)
		release(out, !toA, a[i])
		release(out, !toB, b[i])
	}
	return out
}

func nineBits(is part.Pins, invert int) levels {
	return across(is, !is.Has(13) && !is.Has(14), !is.Has(1) && !is.Has(11), invert, span(2, 10), span(23, 15))
}

// eachDirected: bit by bit, A, B and the direction; /GBA is pin 1, /GAB pin 15.
func eachDirected(is part.Pins, invert int) levels {
	out := levels{}
	for _, bit := range [][3]int{{2, 14, 13}, {4, 12, 3}, {5, 11, 6}, {7, 9, 10}} {
		toB := is.Has(bit[2])
		for pin, level := range across(is, toB && !is.Has(15), !toB && !is.Has(1), invert, bit[:1], bit[1:2]) {
			out[pin] = level
		}
	}
	return out
}

var _ = addSheets(map[string]sheet{
	"7452": {8: andOr(group{1, 2}, group{3, 4, 5}, group{10, 11}, group{12, 13})},
})

var _ = addStates74(map[string]modelOf{
	// Source: SCBS003C, 1993, read, the flag from memory: the parity that is sent makes the highs odd, with both
	// directions on even; what is received with an even number of highs is an error
	"7429833": func(*part.Variant) model {
		flag := -1
		return func(was, is part.Pins) map[int]logic.Value {
			receives := is.Has(14) && !is.Has(1)
			switch {
			case !is.Has(11):
				flag = 1
			case rose(was, is, 13) && !receives:
				flag = -1
			case rose(was, is, 13) && highs(is, 15, 16, 17, 18, 19, 20, 21, 22, 23)%2 == 0:
				flag = 0
			}
			return withParity(is, flag)
		}
	},
	// Source: SCBS198F, 1997, read for the pins; the latch from memory
	"7429853": func(*part.Variant) model {
		flag := -1
		return func(_, is part.Pins) map[int]logic.Value {
			receives := is.Has(14) && !is.Has(1)
			odd := highs(is, 15, 16, 17, 18, 19, 20, 21, 22, 23) % 2
			switch open, clear := !is.Has(13), !is.Has(11); {
			case !open && clear:
				flag = 1
			case open && !receives:
				flag = -1
			case open && clear:
				flag = odd
			case open && odd == 0:
				flag = 0
			}
			return withParity(is, flag)
		}
	},
})

// highs counts the pins that are high.
func highs(is part.Pins, pins ...int) int { return bits.OnesCount(uint(number(is, pins...))) }

// withParity is the buses of the 29833 and its kin: A from pin 2 up, B from pin 23 down, parity at 15.
func withParity(is part.Pins, flag int) levels {
	toB, toA := !is.Has(14), !is.Has(1) && is.Has(14)
	out := across(is, toB, toA, 0, span(2, 9), span(23, 16))
	even := 1 - highs(is, 2, 3, 4, 5, 6, 7, 8, 9)%2
	if !is.Has(1) {
		even = 1 - even
	}
	put(out, 15, even)
	release(out, !toB, 15)
	put(out, 10, flag)
	release(out, flag == 1, 10)
	return out
}
