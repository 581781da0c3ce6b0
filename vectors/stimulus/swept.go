package stimulus

import (
	"math/bits"
	"slices"

	"chipassay/vectors/part"
)

// Swept reports whether steps are a sweep in Gray order from all swept pins low:
// the same pins driven in each, and swept pin k held to bit k of i ^ i/2 in step i.
// It gives the swept pins, the one that changes most often first.
func Swept(steps []Step) (pins []int, ok bool) {
	if len(steps) < 2 || len(steps)&(len(steps)-1) != 0 {
		return nil, false
	}
	for i := 1; i < len(steps); i++ {
		bit := bits.TrailingZeros(uint(i)) // which changes from step i-1 to step i
		if bit == len(pins) {
			changed := slices.Collect((steps[i].Drive ^ steps[i-1].Drive).All())
			if len(changed) != 1 || steps[0].Drive.Has(changed[0]) {
				return nil, false
			}
			pins = append(pins, changed[0])
		}
		if steps[i].Driven != steps[0].Driven || steps[i].Drive != steps[i-1].Drive^part.PinSet(pins[bit]) {
			return nil, false
		}
	}
	return pins, true
}
