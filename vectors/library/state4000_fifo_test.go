package library_test

import (
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// fifo40105 is a queue of up to 16 words: one enters where pin 3 rises, one leaves where pin 15 falls.
func fifo40105(*part.Variant) model {
	var queue []int
	known := false
	return func(was, is part.Pins) map[int]logic.Value {
		switch {
		case is.Has(9):
			queue, known = nil, true
		case rose(was, is, 3) && len(queue) < 16:
			queue = append(queue, number(is, 7, 6, 5, 4))
		case fell(was, is, 15) && len(queue) > 0:
			queue = queue[1:]
		}
		out := unknown(2, 14, 10, 11, 12, 13)
		if known && !is.Has(9) {
			if !is.Has(3) {
				out[2] = logic.FromBool(len(queue) < 16)
			}
			if !is.Has(15) {
				out[14] = logic.FromBool(len(queue) > 0)
			}
			if len(queue) > 0 {
				show(out, queue[0], 10, 11, 12, 13)
			}
		}
		release(out, is.Has(1), 10, 11, 12, 13)
		return out
	}
}

// timer4536 leaves out its first eight stages and shows one of the sixteen others.
func timer4536(*part.Variant) model {
	n := -1
	return func(was, is part.Pins) map[int]logic.Value {
		set, reset := is.Has(1), is.Has(2)
		switch {
		case set:
			n = -1
		case reset:
			n = 0
		case n >= 0 && fell(was, is, 3):
			n = (n + 1) % 65536
		}
		out := unknown(13, 4, 5)
		switch {
		case set && reset:
		case set:
			show(out, 0b101, 13, 4, 5)
		case reset:
			show(out, 0b001, 13, 4, 5)
		default:
			put(out, 4, 1-lev(is, 3))
			put(out, 5, lev(is, 3))
			if n >= 0 {
				put(out, 13, n>>number(is, 12, 11, 10, 9)&1)
			}
		}
		return out
	}
}

// bounce4490 follows an input that has been the same for six clocks; before that nothing is told.
func bounce4490(*part.Variant) model {
	seen := map[int][]int{}
	return func(was, is part.Pins) map[int]logic.Value {
		out := levels{}
		for in, to := range map[int]int{1: 15, 14: 2, 3: 13, 12: 4, 5: 11, 10: 6} {
			if rose(was, is, 7) {
				seen[in] = append(seen[in], lev(is, in))
			}
			out[to] = logic.X
			ones, last := 0, seen[in][max(0, len(seen[in])-6):]
			for _, level := range last {
				ones += level
			}
			if len(last) == 6 && ones%6 == 0 {
				put(out, to, ones/6)
			}
		}
		return out
	}
}
