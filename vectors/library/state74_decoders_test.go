package library_test

import (
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// Decoders that hold their address. Sources: the data sheets of the 74AS131A and
// M74HC131; the others from memory of the TTL data books.
var _ = addStates74(map[string]modelOf{
	"74131": heldAddress(false, func(was, is part.Pins) bool { return rose(was, is, 4) }),
	"74137": heldAddress(false, func(_, is part.Pins) bool { return !is.Has(4) }),
	"74237": heldAddress(true, func(_, is part.Pins) bool { return !is.Has(4) }),
})

// heldAddress is a decoder that takes its address where takes says so.
func heldAddress(active bool, takes func(was, is part.Pins) bool) modelOf {
	return func(*part.Variant) model {
		address := -1
		return func(was, is part.Pins) map[int]logic.Value {
			if takes(was, is) {
				address = number(is, 3, 2, 1)
			}
			pins := []int{15, 14, 13, 12, 11, 10, 9, 7}
			out := levels{}
			switch enabled := is.Has(6) && !is.Has(5); {
			case !enabled:
				oneOf(out, -1, active, pins...)
			case address < 0:
				return unknown(pins...)
			default:
				oneOf(out, address, active, pins...)
			}
			return out
		}
	}
}
