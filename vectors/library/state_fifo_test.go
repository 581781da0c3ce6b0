package library_test

import (
	"maps"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// fifos are the bipolar first-in first-out memories: their pins and words from memory of the
// data books.
var fifos = map[string]modelOf{
	"67401": fifo(64, 2, 3, 9, 14, 15, []int{4, 5, 6, 7}, []int{13, 12, 11, 10}),
	"67402": fifo(64, 2, 3, 10, 16, 17, []int{4, 5, 6, 7, 8}, []int{15, 14, 13, 12, 11}),
}

func init() { maps.Copy(states74, fifos) }

// fifo is a queue of words: one enters where shift in rises, while there is room, and one leaves
// where shift out falls. Input ready says that there is room, output ready that there is a
// word; neither is said while the shift that it answers is high.
func fifo(room, ready, in, reset, valid, out int, data, words []int) modelOf {
	return func(*part.Variant) model {
		var queue []int
		known := false
		return func(was, is part.Pins) map[int]logic.Value {
			switch {
			case !is.Has(reset):
				queue, known = nil, true
			case rose(was, is, in) && len(queue) < room:
				word := 0
				for i, pin := range data {
					if is.Has(pin) {
						word |= 1 << i
					}
				}
				queue = append(queue, word)
			case fell(was, is, out) && len(queue) > 0:
				queue = queue[1:]
			}
			seen := unknown(append([]int{ready, valid}, words...)...)
			if !known {
				return seen
			}
			if !is.Has(in) {
				seen[ready] = logic.FromBool(len(queue) < room)
			}
			if !is.Has(out) {
				seen[valid] = logic.FromBool(len(queue) > 0)
			}
			if len(queue) > 0 {
				for i, pin := range words {
					seen[pin] = logic.FromBool(queue[0]>>i&1 != 0)
				}
			}
			return seen
		}
	}
}
