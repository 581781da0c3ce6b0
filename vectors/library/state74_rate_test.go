package library_test

import (
	"math/bits"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

var _ = addStates74(map[string]modelOf{"7497": rateMultiplier97})

// rateMultiplier97 is a 7497: count n belongs to the rate input of as many pulses as
// counts end, in binary, in the same number of ones; 63, the last, belongs to none.
// Active levels by the DM7497 data sheet (June 1989), pin numbers and counts from memory.
func rateMultiplier97(*part.Variant) model {
	rates := []int{3, 2, 15, 14, 1, 4} // of 32, 16, 8, 4, 2 and 1 pulses
	n := -1
	return func(was, is part.Pins) map[int]logic.Value {
		switch {
		case is.Has(13):
			n = 0
		case rose(was, is, 9) && !is.Has(11):
			n = following(n, 64)
		}
		pulse := 0
		switch {
		case is.Has(9) || is.Has(10) || number(is, rates...) == 0:
		case n < 0:
			pulse = -1
		case n < 63:
			pulse = lev(is, rates[bits.TrailingZeros(^uint(n))])
		}
		out := unknown(5, 6)
		if pulse >= 0 {
			put(out, 5, 1-pulse)
			put(out, 6, pulse)
		}
		if !is.Has(12) {
			out[6] = logic.One
		}
		carry(out, 7, n, 64, 63, !is.Has(11), false)
		return out
	}
}
