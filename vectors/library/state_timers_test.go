package library_test

import (
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// timers are sections of a 555: trigger, threshold, reset, output, discharge, by pin.
//
// Source: the function table of the SE555/NE555 data sheet, from memory: RESET low gives a low
// output and discharges; else TRIG under a third of the supply gives a high output; else THR over two thirds
// gives a low one; else both stay.
func timers(sections ...[5]int) modelOf {
	return func(*part.Variant) model {
		states := make([]int, len(sections)) // 1 low, 2 high, 0 unknown
		return func(_, is part.Pins) map[int]logic.Value {
			out := map[int]logic.Value{}
			for i, s := range sections {
				switch {
				case !is.Has(s[2]):
					states[i] = 1
				case !is.Has(s[0]):
					states[i] = 2
				case is.Has(s[1]):
					states[i] = 1
				}
				out[s[3]] = []logic.Value{logic.X, logic.Zero, logic.One}[states[i]]
				out[s[4]] = []logic.Value{logic.X, logic.Zero, logic.Z}[states[i]]
			}
			return out
		}
	}
}

var _ = addStates74(map[string]modelOf{
	"555": timers([5]int{2, 6, 4, 3, 7}),
	"556": timers([5]int{6, 2, 4, 5, 1}, [5]int{8, 12, 10, 9, 13}),
})
