package library_test

import (
	"math/bits"
	"strings"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// splitNumbers takes apart the numbers that share a truth.
func splitNumbers(text string) []string { return strings.Fields(text) }

type levels = map[int]logic.Value

// truths4000 are the combinational parts of the 4000 series beyond plain gates.
var truths4000 = map[string]truth{
	"4008": func(is part.Pins) levels {
		out := levels{}
		sum := number(is, 1, 3, 5, 7) + number(is, 15, 2, 4, 6) + lev(is, 9)
		show(out, sum, 14, 13, 12, 11, 10)
		return out
	},
	"4560": func(is part.Pins) levels {
		out := levels{}
		a, b := number(is, 5, 3, 1, 15), number(is, 6, 4, 2, 14)
		sum := a + b + lev(is, 7)
		if a > 9 || b > 9 {
			show(out, -1, 9, 10, 11, 12, 13)
			return out
		}
		show(out, sum/10, 9)
		show(out, sum%10, 10, 11, 12, 13)
		return out
	},
	"4063": func(is part.Pins) levels {
		a, b := number(is, 15, 13, 12, 10), number(is, 1, 14, 11, 9)
		cascade := number(is, 2, 3, 4) // A<B A=B A>B
		if a == b && bits.OnesCount(uint(cascade)) != 1 {
			return unknown(7, 6, 5)
		}
		return compared(a, b, cascade, 7, 6, 5)
	},
	"4585": func(is part.Pins) levels {
		a, b := number(is, 15, 2, 7, 10), number(is, 14, 1, 9, 11)
		cascade := number(is, 5, 6, 4)
		if a == b && (cascade == 0b000 || cascade>>1 == 0b11) {
			return unknown(12, 3, 13)
		}
		if cascade>>1 != 0 {
			cascade &= 0b110 // the A>B input is high in a chain and says nothing then
		}
		out := compared(a, b, cascade, 12, 3, 13)
		if a > b && !is.Has(4) {
			out[13] = logic.X
		}
		return out
	},
	"4530": func(is part.Pins) levels {
		out := levels{}
		for _, g := range [][7]int{{1, 2, 3, 4, 5, 6, 7}, {9, 10, 11, 12, 13, 14, 15}} {
			most := bits.OnesCount(uint(number(is, g[:5]...))) >= 3
			out[g[6]] = logic.FromBool(most == is.Has(g[5]))
		}
		return out
	},
	"4531": func(is part.Pins) levels {
		ones := bits.OnesCount(uint(number(is, 1, 2, 3, 4, 5, 6, 7, 10, 11, 12, 13, 14, 15)))
		return levels{9: logic.FromBool(ones%2 == 1)}
	},
	"40181 4581": alu,
	"40182 4582": func(is part.Pins) levels {
		// generate and propagate of each group, least significant first, active low
		g := []bool{!is.Has(3), !is.Has(1), !is.Has(14), !is.Has(5)}
		p := []bool{!is.Has(4), !is.Has(2), !is.Has(15), !is.Has(6)}
		out := levels{}
		carry, group := is.Has(13), false
		for i := range 4 {
			carry = g[i] || p[i] && carry
			group = g[i] || p[i] && group
			if i < 3 {
				out[[]int{12, 11, 9}[i]] = logic.FromBool(carry)
			}
		}
		out[10] = logic.FromBool(!group)
		out[7] = logic.FromBool(!(p[0] && p[1] && p[2] && p[3]))
		return out
	},
	"4019": func(is part.Pins) levels {
		out := levels{}
		a, b := number(is, 15, 2, 4, 6), number(is, 1, 3, 5, 7)
		show(out, a*lev(is, 9)|b*lev(is, 14), 13, 12, 11, 10)
		return out
	},
	"4519": func(is part.Pins) levels {
		out := levels{}
		x, y := number(is, 15, 2, 4, 6), number(is, 1, 3, 5, 7)
		show(out, []int{0, x, y, ^(x ^ y) & 15}[number(is, 14, 9)], 13, 12, 11, 10)
		return out
	},
	"4512": func(is part.Pins) levels {
		out := levels{}
		put(out, 14, lev(is, []int{1, 2, 3, 4, 5, 6, 7, 9}[number(is, 13, 12, 11)])&^lev(is, 10))
		release(out, is.Has(15), 14)
		return out
	},
	"4539": func(is part.Pins) levels {
		out := levels{}
		s := number(is, 2, 14)
		put(out, 7, lev(is, []int{6, 5, 4, 3}[s])&^lev(is, 1))
		put(out, 9, lev(is, []int{10, 11, 12, 13}[s])&^lev(is, 15))
		return out
	},
	"40257": func(is part.Pins) levels {
		out := levels{}
		for _, g := range [][3]int{{2, 3, 4}, {5, 6, 7}, {11, 10, 9}, {14, 13, 12}} {
			put(out, g[2], lev(is, g[lev(is, 1)]))
		}
		release(out, is.Has(15), 4, 7, 9, 12)
		return out
	},
	"4028": func(is part.Pins) levels {
		out := levels{}
		oneOf(out, number(is, 11, 12, 13, 10), true, 3, 14, 2, 15, 1, 6, 7, 4, 9, 5)
		return out
	},
	"4555": func(is part.Pins) levels { return decoders(is, true) },
	"4556": func(is part.Pins) levels { return decoders(is, false) },
	"4532": func(is part.Pins) levels {
		out := levels{}
		d := number(is, 4, 3, 2, 1, 13, 12, 11, 10)
		top := max(bits.Len(uint(d))-1, 0)
		enabled := lev(is, 5)
		show(out, top*enabled, 6, 7, 9)
		put(out, 14, min(d, 1)*enabled)
		put(out, 15, (1-min(d, 1))*enabled)
		return out
	},
	"4547": func(is part.Pins) levels {
		out := levels{}
		n := number(is, 6, 2, 1, 7)
		pins := [7]int{13, 12, 11, 10, 9, 15, 14}
		if n > 9 || !is.Has(4) {
			segments(out, "", "", pins)
		} else {
			segments(out, digits[n], tails(n), pins)
		}
		return out
	},
	"4055": func(is part.Pins) levels {
		out := crystal(number(is, 4, 2, 3, 5), is.Has(6))
		put(out, 1, lev(is, 6))
		return out
	},
	"40109": func(is part.Pins) levels {
		out := levels{}
		for _, g := range [][3]int{{2, 3, 4}, {7, 6, 5}, {9, 10, 11}, {15, 14, 13}} {
			put(out, g[2], lev(is, g[1]))
			release(out, !is.Has(g[0]), g[2])
		}
		return out
	},
	"4504": func(is part.Pins) levels {
		out := levels{}
		for _, g := range [][2]int{{3, 2}, {5, 4}, {7, 6}, {9, 10}, {11, 12}, {14, 15}} {
			put(out, g[1], lev(is, g[0]))
		}
		return out
	},
	"40240": func(is part.Pins) levels { return octal(is, 1) },
	"40244": func(is part.Pins) levels { return octal(is, 0) },
	"40245": func(is part.Pins) levels {
		out := levels{}
		for i := range 8 {
			a, b := 2+i, 18-i
			put(out, b, lev(is, a))
			put(out, a, lev(is, b))
			release(out, is.Has(19) || is.Has(1), a)
			release(out, is.Has(19) || !is.Has(1), b)
		}
		return out
	},
	"40107": func(is part.Pins) levels {
		out := levels{3: logic.Z, 5: logic.Z}
		if is.Has(1) && is.Has(2) {
			out[3] = logic.Zero
		}
		if is.Has(6) && is.Has(7) {
			out[5] = logic.Zero
		}
		return out
	},
	"4047": func(is part.Pins) levels {
		if is.Has(9) {
			return levels{10: logic.Zero, 11: logic.One}
		}
		return unknown(10, 11)
	},
	"40101": func(is part.Pins) levels {
		ones := bits.OnesCount(uint(number(is, 1, 2, 3, 4, 10, 11, 12, 13, 5)))
		if is.Has(8) {
			return levels{9: logic.Zero, 6: logic.Zero}
		}
		return levels{9: logic.FromBool(ones%2 == 0), 6: logic.FromBool(ones%2 == 1)}
	},
	"4561": func(is part.Pins) levels {
		out := levels{}
		a := number(is, 4, 3, 2, 1)
		switch {
		case is.Has(9):
			a = 0
		case is.Has(5) && !is.Has(6):
			a = max(9-a, -1)
		}
		show(out, a, 10, 11, 12, 13)
		return out
	},
	"40147": func(is part.Pins) levels {
		out := levels{}
		code := 15
		for i, pin := range []int{15, 11, 12, 13, 1, 2, 3, 4, 5, 10} {
			if !is.Has(pin) {
				code = i
			}
		}
		show(out, ^code&15, 14, 6, 7, 9)
		return out
	},
	"4558": func(is part.Pins) levels {
		pins := [7]int{13, 12, 11, 10, 9, 15, 14}
		out := levels{}
		n, enabled, blanking := number(is, 6, 2, 1, 7), is.Has(3), !is.Has(5)
		switch {
		case !enabled && blanking:
			segments(out, "abcdefg", "", pins)
		case !enabled, n == 0 && blanking, n > 9:
			segments(out, "", "", pins)
		default:
			segments(out, digits[n], tails(n), pins)
		}
		switch {
		case !enabled || n == 0:
			put(out, 4, lev(is, 5))
		case n > 9:
			out[4] = logic.X
		default:
			out[4] = logic.One
		}
		return out
	},
	"4098 4528 4538": func(is part.Pins) levels {
		out := unknown(6, 7, 10, 9)
		for _, g := range [][3]int{{3, 6, 7}, {13, 10, 9}} {
			if !is.Has(g[0]) {
				out[g[1]], out[g[2]] = logic.Zero, logic.One
			}
		}
		return out
	},
}

func unknown(pins ...int) levels {
	out := levels{}
	for _, pin := range pins {
		out[pin] = logic.X
	}
	return out
}

// compared is a magnitude comparator; equal words pass the cascade on, as three bits A<B A=B A>B.
func compared(a, b, cascade int, less, equal, greater int) levels {
	out := levels{}
	switch {
	case a < b:
		cascade = 0b100
	case a > b:
		cascade = 0b001
	}
	show(out, cascade, less, equal, greater)
	return out
}

func decoders(is part.Pins, active bool) levels {
	out := levels{}
	for _, g := range [][7]int{{1, 3, 2, 4, 5, 6, 7}, {15, 13, 14, 12, 11, 10, 9}} {
		n := number(is, g[1:3]...)
		if is.Has(g[0]) {
			n = -1
		}
		oneOf(out, n, active, g[3:]...)
	}
	return out
}

func octal(is part.Pins, invert int) levels {
	out := levels{}
	for _, g := range [][3]int{
		{1, 2, 18}, {1, 4, 16}, {1, 6, 14}, {1, 8, 12}, {19, 11, 9}, {19, 13, 7}, {19, 15, 5}, {19, 17, 3},
	} {
		put(out, g[2], lev(is, g[1])^invert)
		release(out, is.Has(g[0]), g[2])
	}
	return out
}

// crystal shows a digit of a 4055 or 4056, inverted while the display frequency is high.
func crystal(n int, invert bool) levels {
	out := levels{}
	lit, unsure := "", ""
	switch {
	case n <= 9:
		lit, unsure = digits[n], tails(n)
	case n == 10:
		lit = "def" // L
	case n == 11 || n == 12:
		lit, unsure = "befg", "ac" // H and P, whose order is not sure
	case n == 13:
		lit = "abcefg" // A
	case n == 14:
		lit = "g"
	}
	segments(out, lit, unsure, [7]int{9, 10, 11, 12, 13, 15, 14})
	for pin, v := range out {
		if invert {
			out[pin] = v.Not()
		}
	}
	return out
}

// alu is the 181 function table for operands high for 1, by S3..S0: logic with M
// high, arithmetic with M low, modulo 16 and one more with a low carry input.
func alu(is part.Pins) levels {
	a, b := number(is, 19, 21, 23, 2), number(is, 18, 20, 22, 1)
	nb, s := ^b&15, number(is, 3, 4, 5, 6)
	logical := []int{^a, ^(a | b), ^a & b, 0, ^(a & b), ^b, a ^ b, a & nb, ^a | b, ^(a ^ b), b, a & b, 15, a | nb, a | b, a}
	arithmetic := []int{ // less the carry
		a, a | b, a | nb, 15, a + a&nb, (a | b) + a&nb, a + nb, a&nb + 15,
		a + a&b, a + b, (a | nb) + a&b, a&b + 15, a + a, (a | b) + a, (a | nb) + a, a + 15,
	}
	out := levels{}
	sum := arithmetic[s] + 1 - lev(is, 7)
	if is.Has(8) {
		show(out, logical[s]&15, 13, 11, 10, 9)
	} else {
		show(out, sum&15, 13, 11, 10, 9)
	}
	put(out, 16, 1-min(sum>>4, 1))
	put(out, 17, min((arithmetic[s]+1)>>4, 1))
	// a group propagates a missing carry where the second operand is zero
	second := []int{0, 0, 0, 0, a & nb, a & nb, a & nb, a & nb, a & b, a & b, a & b, a & b, a, a, a, a}
	put(out, 15, min(second[s], 1))
	return out
}
