package library_test

import (
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

var _ = addStates74(map[string]modelOf{
	// Source: 74F2952 and 74F2953 product specification, 1989, read: function; pins from memory
	"742952": backToBack(0), "742953": backToBack(1),
	// Source: DM74LS502 data sheet, TL/F/10189, 1992, read: function; pins from memory
	"74502": approximation([]int{14, 13, 12, 11, 6, 5, 4, 3}, 15, 2, 1, 7, 10, 9),
	// Source: SN74AS885 data sheet SDAS236A, read: pins; function table from memory
	"74885": latchedComparison,
})

// backToBack: A0..A7 at pins 16 up, B0..B7 at 8 down. A register from A to B (clock 10, enable 11,
// output 9) and one from B to A (clock 14, enable 13, output 15); what is driven is what is taken in.
func backToBack(invert int) modelOf {
	a, b := span(16, 23), span(8, 1)
	return func(*part.Variant) model {
		ab, ba := stages(8), stages(8)
		flip := func(row []int) (out []int) {
			for _, level := range row {
				if level < 0 || invert == 0 {
					out = append(out, level)
				} else {
					out = append(out, 1-level)
				}
			}
			return out
		}
		seen := func(is part.Pins, pins []int, drives bool, row []int) []int {
			if drives {
				return flip(row)
			}
			return levelsOf(is, pins...)
		}
		return func(was, is part.Pins) map[int]logic.Value {
			fromA, fromB := seen(is, a, !is.Has(15), ba), seen(is, b, !is.Has(9), ab)
			if rose(was, is, 10) && !is.Has(11) {
				ab = fromA
			}
			if rose(was, is, 14) && !is.Has(13) {
				ba = fromB
			}
			out := levels{}
			putAll(out, flip(ba), a...)
			putAll(out, flip(ab), b...)
			release(out, is.Has(15), a...)
			release(out, is.Has(9), b...)
			return out
		}
	}
}

// latchedComparison: P at pins 15 to 22 is taken in while pin 23 is high; Q at 11 down to 4. Pin 1
// low makes the eighth bit a sign. Equal words pass the cascade on.
func latchedComparison(*part.Variant) model {
	p := stages(8)
	return func(was, is part.Pins) map[int]logic.Value {
		if is.Has(23) {
			p = levelsOf(is, span(15, 22)...)
		}
		worth := func(bits []int) (n int, known bool) {
			for i, level := range bits {
				if level < 0 {
					return 0, false
				}
				n += level << i
			}
			if bits[7] == 1 && !is.Has(1) {
				n -= 256
			}
			return n, true
		}
		a, known := worth(p)
		b, _ := worth(levelsOf(is, span(11, 4)...))
		out := levels{}
		switch {
		case !known:
			putAll(out, []int{-1, -1}, 13, 14)
		case a > b:
			putAll(out, []int{1, 0}, 13, 14)
		case a < b:
			putAll(out, []int{0, 1}, 13, 14)
		default:
			putAll(out, levelsOf(is, 3, 2), 13, 14)
		}
		return out
	}
}
