package library_test

import (
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// What static levels show of monostable multivibrators, from memory of the TTL data books.
var _ = addTruths74(map[string]truth{
	"74121": func(part.Pins) map[int]logic.Value {
		return levels{6: logic.Zero, 1: logic.One}
	},
	"74122 74422": func(is part.Pins) map[int]logic.Value {
		return cleared(is, levels{}, 5, 8, 6)
	},
	"74123 74221 74423": func(is part.Pins) map[int]logic.Value {
		return cleared(is, cleared(is, levels{}, 3, 13, 4), 11, 5, 12)
	},
})

// cleared is the rest while a clear is low; else it depends on what went before.
func cleared(is part.Pins, out levels, clear, q, notQ int) levels {
	level := 0
	if is.Has(clear) {
		level = -1
	}
	both(out, level, q, notQ)
	return out
}
