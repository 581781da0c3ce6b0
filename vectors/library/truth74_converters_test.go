package library_test

import (
	"math/bits"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// Priority encoders and code converters of the 7400 series. Source: the TTL data
// books, from memory.
var _ = addTruths74(map[string]truth{
	"74147": func(is part.Pins) levels {
		out := levels{}
		active := ^number(is, 10, 5, 4, 3, 2, 1, 13, 12, 11) & 0x1FF // 9 to 1
		show(out, 15&^bits.Len(uint(active)), 14, 6, 7, 9)
		return out
	},
	"74148": func(is part.Pins) levels { return eightPriorities(is) },
	"74348": func(is part.Pins) levels {
		out := eightPriorities(is)
		release(out, out[14] == logic.One, 6, 7, 9) // no input active, or not enabled
		return out
	},
	"74184": func(is part.Pins) levels {
		tens, units := number(is, 14, 13), 2*number(is, 12, 11, 10)
		out := unknown(6, 7, 9)
		switch {
		case is.Has(15):
			show(out, 255, 5, 4, 3, 2, 1, 6, 7, 9)
		case units > 9:
			show(out, 31, 5, 4, 3, 2, 1)
		default:
			show(out, (10*tens+units)/2, 5, 4, 3, 2, 1)
		}
		return sinks(out)
	},
	"74185": func(is part.Pins) levels {
		n := 2 * number(is, 14, 13, 12, 11, 10)
		out := levels{7: logic.One, 9: logic.One}
		show(out, n/10, 6, 5, 4)
		show(out, n%10/2, 3, 2, 1)
		if is.Has(15) {
			show(out, 63, 6, 5, 4, 3, 2, 1)
		}
		return sinks(out)
	},
})

// eightPriorities is the 74148: the number of the highest input that is low,
// complemented, a flag for any, and an enable for the next encoder where there is none.
func eightPriorities(is part.Pins) levels {
	out := levels{}
	active := ^number(is, 4, 3, 2, 1, 13, 12, 11, 10) & 0xFF // 7 to 0
	enabled := !is.Has(5)
	switch {
	case enabled && active != 0:
		show(out, 7&^(bits.Len(uint(active))-1), 6, 7, 9)
		putAll(out, []int{0, 1}, 14, 15)
	case enabled:
		show(out, 7, 6, 7, 9)
		putAll(out, []int{1, 0}, 14, 15)
	default:
		show(out, 31, 6, 7, 9, 14, 15)
	}
	return out
}
