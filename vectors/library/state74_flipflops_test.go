package library_test

import (
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// From memory of the TTL data books.
var _ = addStates74(map[string]modelOf{"74396": twoWords396})

// twoWords396 keeps the last two words it was clocked: the newer at the outputs 1Q, the
// older at 2Q. All outputs are low while the strobe is high.
func twoWords396(*part.Variant) model {
	newer, older := -1, -1
	return func(was, is part.Pins) map[int]logic.Value {
		if rose(was, is, 7) {
			newer, older = number(is, 12, 9, 6, 3), newer
		}
		out := levels{}
		if is.Has(15) {
			show(out, 0, 13, 10, 5, 2, 14, 11, 4, 1)
			return out
		}
		show(out, newer, 13, 10, 5, 2)
		show(out, older, 14, 11, 4, 1)
		return out
	}
}
