package library_test

import (
	"math/bits"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// Adders, arithmetic logic units and multipliers of the 7400 series, as plain
// arithmetic. Source: the TTL data books, from memory.
var _ = addTruths74(map[string]truth{
	"7480": func(is part.Pins) levels {
		// a word is the AND of its two inputs, or 1 where its control is low
		word := func(one, two, control int) int {
			if !is.Has(control) {
				return 1
			}
			return lev(is, one) * lev(is, two)
		}
		sum := word(8, 9, 11) + word(12, 13, 2) + lev(is, 3)
		out := levels{}
		putAll(out, []int{sum % 2, 1 - sum%2, 1 - sum/2}, 5, 6, 4)
		return out
	},
	"7482": func(is part.Pins) levels {
		out := levels{}
		show(out, number(is, 14, 2)+number(is, 13, 3)+lev(is, 5), 10, 12, 1)
		return out
	},
	"7483": func(is part.Pins) levels {
		out := levels{}
		show(out, number(is, 1, 3, 8, 10)+number(is, 16, 4, 7, 11)+lev(is, 13), 14, 15, 2, 6, 9)
		return out
	},
	"74283": func(is part.Pins) levels {
		out := levels{}
		show(out, number(is, 12, 14, 3, 5)+number(is, 11, 15, 2, 6)+lev(is, 7), 9, 10, 13, 1, 4)
		return out
	},
	"74183": func(is part.Pins) levels {
		out := levels{}
		show(out, lev(is, 1)+lev(is, 3)+lev(is, 4), 5, 6)
		show(out, lev(is, 13)+lev(is, 12)+lev(is, 11), 10, 8)
		return out
	},
	"74181": func(is part.Pins) levels {
		// the function table is the one of its CMOS successor; A=B is open-collector
		out := alu(is)
		out[14] = logic.Z
		for _, f := range []int{13, 11, 10, 9} {
			if out[f] == logic.Zero {
				out[14] = logic.Zero
			}
		}
		return out
	},
	"74381": func(is part.Pins) levels {
		f, left, right := eightFunctions(is)
		out := unknown(13, 14)
		show(out, f&15, 12, 11, 9, 8)
		if left >= 0 {
			out[13] = logic.FromBool(left+right < 16)
			switch {
			case left+right == 15 && left&right == 0:
				out[14] = logic.Zero // a carry in makes a carry out
			case left|right != 15:
				out[14] = logic.One
			}
		}
		return out
	},
	"74382": func(is part.Pins) levels {
		f, left, right := eightFunctions(is)
		out := unknown(13, 14)
		show(out, f&15, 12, 11, 9, 8)
		if left >= 0 {
			put(out, 14, f>>4)
			signed := func(n int) int { return (n ^ 8) - 8 }
			total := signed(left) + signed(right) + lev(is, 15)
			out[13] = logic.FromBool(total < -8 || total > 7)
		}
		return out
	},
	"74182": func(is part.Pins) levels {
		// Each of four stages generates a carry, or propagates the one it gets; the
		// inputs and the two group outputs are active low, stage 0 first.
		generates, propagates := ^number(is, 5, 14, 1, 3)&15, ^number(is, 6, 15, 2, 4)&15
		ripple := func(stages, carry int) int {
			for i := range stages {
				carry = generates>>i&1 | propagates>>i&1&carry
			}
			return carry
		}
		in := lev(is, 13)
		out := levels{}
		putAll(out, []int{ripple(1, in), ripple(2, in), ripple(3, in), 1 - ripple(4, 0)}, 12, 11, 9, 10)
		out[7] = logic.FromBool(bits.OnesCount(uint(propagates)) != 4)
		return out
	},
	"74284": func(is part.Pins) levels { return halfProduct(is, 4) },
	"74285": func(is part.Pins) levels { return halfProduct(is, 0) },
})

// eightFunctions is the 381 and 382 function table by S2..S0; for the arithmetic
// ones also the two words that are added, for the others -1.
func eightFunctions(is part.Pins) (f, left, right int) {
	a, b, carry := number(is, 17, 19, 1, 3), number(is, 16, 18, 2, 4), lev(is, 15)
	switch number(is, 7, 6, 5) {
	case 0:
		return 0, -1, -1
	case 1: // B minus A, one less without the carry
		return b + 15 - a + carry, 15 - a, b
	case 2: // A minus B
		return a + 15 - b + carry, a, 15 - b
	case 3:
		return a + b + carry, a, b
	case 4:
		return a ^ b, -1, -1
	case 5:
		return a | b, -1, -1
	case 6:
		return a & b, -1, -1
	}
	return 15, -1, -1
}

// halfProduct shows four bits of a product, from a bit up; both strobes low.
func halfProduct(is part.Pins, from int) levels {
	out := levels{}
	product := number(is, 4, 7, 6, 5) * number(is, 15, 1, 2, 3)
	show(out, product>>from&15, 9, 10, 11, 12)
	for _, pin := range []int{9, 10, 11, 12} {
		release(out, is.Has(13) || is.Has(14) || out[pin] == logic.One, pin)
	}
	return out
}
