package library_test

import (
	"maps"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// segmentLatch4511 holds while pin 5 is high; makers' sixes and nines have no tails here.
func segmentLatch4511(*part.Variant) model {
	n := -1
	return func(_, is part.Pins) map[int]logic.Value {
		if !is.Has(5) {
			n = number(is, 6, 2, 1, 7)
		}
		out := unknown(13, 12, 11, 10, 9, 15, 14)
		pins := [7]int{13, 12, 11, 10, 9, 15, 14}
		lit := ""
		switch {
		case n == 6:
			lit = "cdefg"
		case n == 9:
			lit = "abcfg"
		case n >= 0 && n < 9:
			lit = digits[n]
		}
		switch {
		case !is.Has(3):
			segments(out, "abcdefg", "", pins)
		case !is.Has(4):
			segments(out, "", "", pins)
		case n >= 0:
			segments(out, lit, "", pins)
		}
		return out
	}
}

// segmentLatch4513 is a 4511 with ripple blanking of zeros.
func segmentLatch4513(*part.Variant) model {
	n := -1
	return func(_, is part.Pins) map[int]logic.Value {
		if !is.Has(5) {
			n = number(is, 6, 2, 1, 7)
		}
		pins := [7]int{15, 14, 13, 12, 11, 17, 16}
		out := unknown(10, 15, 14, 13, 12, 11, 17, 16)
		zero := n == 0 && is.Has(8)
		switch {
		case !is.Has(3):
			segments(out, "abcdefg", "", pins)
		case !is.Has(4):
			segments(out, "", "", pins)
		case n >= 0:
			out[10] = logic.FromBool(zero)
			if zero || n > 9 {
				segments(out, "", "", pins)
			} else {
				segments(out, digits[n], tails(n), pins)
			}
		case !is.Has(8):
			out[10] = logic.Zero
		}
		return out
	}
}

// segmentLatch4543 follows while pin 1 is high; pin 6 inverts every segment.
func segmentLatch4543(*part.Variant) model {
	n := -1
	return func(_, is part.Pins) map[int]logic.Value {
		if is.Has(1) {
			n = number(is, 4, 2, 3, 5)
		}
		pins := [7]int{9, 10, 11, 12, 13, 15, 14}
		out := unknown(pins[:]...)
		switch {
		case is.Has(7) || n > 9:
			segments(out, "", "", pins)
		case n >= 0:
			segments(out, digits[n], "", pins)
		}
		for pin, v := range out {
			if is.Has(6) {
				out[pin] = v.Not()
			}
		}
		return out
	}
}

func segmentLatch4056(*part.Variant) model {
	n := -1
	return func(_, is part.Pins) map[int]logic.Value {
		if is.Has(1) {
			n = number(is, 4, 2, 3, 5)
		}
		if n < 0 {
			return unknown(9, 10, 11, 12, 13, 15, 14)
		}
		return crystal(n, is.Has(6))
	}
}

// addressLatch is a 4514, or a 4515 whose outputs are low on select.
func addressLatch(active bool) modelOf {
	pins := []int{11, 9, 10, 8, 7, 6, 5, 4, 18, 17, 20, 19, 14, 13, 16, 15}
	return func(*part.Variant) model {
		n := -1
		return func(_, is part.Pins) map[int]logic.Value {
			if is.Has(1) {
				n = number(is, 22, 21, 3, 2)
			}
			if n < 0 && !is.Has(23) {
				return unknown(pins...)
			}
			out := levels{}
			chosen := n
			if is.Has(23) {
				chosen = -1
			}
			oneOf(out, chosen, active, pins...)
			return out
		}
	}
}

// serialAdder adds a bit a clock; it is not specified whether the carry reset acts before the clock.
func serialAdder(*part.Variant) model {
	carry := []int{-1, -1, -1}
	return func(was, is part.Pins) map[int]logic.Value {
		out := levels{}
		for i, p := range [][4]int{{10, 11, 7, 9}, {13, 12, 5, 4}, {15, 14, 2, 1}} {
			a, b := lev(is, p[0]), lev(is, p[1])
			switch {
			case rose(was, is, 3) && is.Has(6):
				carry[i] = 0
			case rose(was, is, 3) && a == b:
				carry[i] = a
			}
			if is.Has(6) && carry[i] != 0 {
				carry[i] = -1
			}
			put(out, p[3], -1)
			if carry[i] >= 0 {
				put(out, p[3], (a+b+carry[i]+lev(is, p[2]))%2)
			}
		}
		return out
	}
}

// phaseComparators steps comparator II between -1 and 1: up where the signal
// rises, down where the compared input does. At first it may be anywhere.
func phaseComparators(v *part.Variant) model {
	low, high, third := -1, 1, -1
	return func(was, is part.Pins) map[int]logic.Value {
		if rose(was, is, 14) {
			low, high, third = min(low+1, 1), min(high+1, 1), 1
		}
		if rose(was, is, 3) {
			low, high, third = max(low-1, -1), max(high-1, -1), 0
		}
		out := unknown(1, 13)
		put(out, 2, lev(is, 14)^lev(is, 3))
		if low == high {
			out[1] = logic.FromBool(low == 0)
			out[13] = map[int]logic.Value{-1: logic.Zero, 0: logic.Z, 1: logic.One}[low]
		}
		if v.Pin("PC3") != nil {
			put(out, 15, third)
		}
		return out
	}
}

// latchedChannels are analog multiplexers whose address, most significant pin
// first, is held while pin 11 is low; each has its common pin, then its channels.
func latchedChannels(address []int, multiplexers ...[]int) modelOf {
	return func(*part.Variant) model {
		n := -1
		return func(_, is part.Pins) map[int]logic.Value {
			if is.Has(11) {
				n = number(is, address...)
			}
			on := !is.Has(7) && is.Has(8)
			out := levels{}
			for _, m := range multiplexers {
				for pin, level := range channels(is, on, n, m[0], m[1:]...) {
					out[pin] = level
					if on && n < 0 {
						out[pin] = logic.X
					}
				}
			}
			return out
		}
	}
}

// latched4353 is three multiplexers, each with an address of its own.
func latched4353(v *part.Variant) model {
	var three []model
	for _, m := range [][]int{{15, 18, 16, 17}, {13, 19, 2, 1}, {12, 5, 6, 4}} {
		three = append(three, latchedChannels(m[:1], m[1:])(v))
	}
	return func(was, is part.Pins) map[int]logic.Value {
		out := levels{}
		for _, m := range three {
			maps.Copy(out, m(was, is))
		}
		return out
	}
}
