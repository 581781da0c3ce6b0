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
		if known { // reset empties it: data-in ready goes high, data-out ready low
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
