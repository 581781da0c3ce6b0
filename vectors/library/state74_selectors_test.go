package library_test

import (
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// From memory of the TTL data books.
var _ = addStates74(map[string]modelOf{
	"74354": storedSelector(func(was, is part.Pins) bool { return !is.Has(9) }, false),
	"74355": storedSelector(func(was, is part.Pins) bool { return !is.Has(9) }, true),
	"74356": storedSelector(func(was, is part.Pins) bool { return rose(was, is, 9) }, false),
	"74357": storedSelector(func(was, is part.Pins) bool { return rose(was, is, 9) }, true),
	"74256": eachOf(addressedQuad(3, 4, 5, 6, 7), addressedQuad(13, 9, 10, 11, 12)),
	"74278": priorityRegister,
	"74867": upDown869(false),
	"74869": upDown869(true),
})

// storedSelector shows one of eight stored levels and its complement.
func storedSelector(takes func(was, is part.Pins) bool, openCollector bool) modelOf {
	return func(*part.Variant) model {
		inputs, chosen := stages(8), -1
		return func(was, is part.Pins) map[int]logic.Value {
			if takes(was, is) {
				inputs = levelsOf(is, 8, 7, 6, 5, 4, 3, 2, 1)
			}
			if !is.Has(11) {
				chosen = number(is, 12, 13, 14)
			}
			level := -1
			if chosen >= 0 {
				level = inputs[chosen]
			}
			out := levels{}
			both(out, level, 19, 18)
			for pin, value := range out {
				if openCollector && value == logic.One {
					out[pin] = logic.Z
				}
			}
			release(out, is.Has(15) || is.Has(16) || !is.Has(17), 18, 19)
			return out
		}
	}
}

// addressedQuad is half a 74256; cleared with /E low, only the addressed output follows.
func addressedQuad(input int, outputs ...int) modelOf {
	return func(*part.Variant) model {
		q := stages(4)
		return func(_, is part.Pins) map[int]logic.Value {
			if !is.Has(15) {
				q = []int{0, 0, 0, 0}
			}
			if !is.Has(14) {
				q[number(is, 2, 1)] = lev(is, input)
			}
			out := levels{}
			putAll(out, q, outputs...)
			return out
		}
	}
}

// priorityRegister passes the first of four stored levels that is high, unless P0 is.
func priorityRegister(*part.Variant) model {
	q := stages(4)
	return func(_, is part.Pins) map[int]logic.Value {
		if is.Has(1) {
			q = levelsOf(is, 12, 13, 2, 3)
		}
		out := levels{}
		taken := lev(is, 4)
		for i, pin := range []int{10, 9, 8, 6} {
			switch {
			case taken == 1 || q[i] == 0:
				put(out, pin, 0)
			case taken == 0:
				put(out, pin, q[i])
			default:
				put(out, pin, -1)
			}
			if q[i] == 1 || taken == 0 && q[i] < 0 {
				taken = q[i]
			}
		}
		put(out, 5, taken)
		return out
	}
}

// upDown869 is an eight-bit counter whose two mode inputs clear, count down,
// load and count up.
func upDown869(clearsAtClock bool) modelOf {
	return func(*part.Variant) model {
		n := -1
		return func(was, is part.Pins) map[int]logic.Value {
			mode, edge := number(is, 2, 1), rose(was, is, 14)
			counts := edge && !is.Has(11) && !is.Has(23)
			switch {
			case mode == 0 && (edge || !clearsAtClock):
				n = 0
			case mode == 2 && edge:
				n = number(is, 10, 9, 8, 7, 6, 5, 4, 3)
			case mode == 1 && counts:
				n = previous(n, 256)
			case mode == 3 && counts:
				n = following(n, 256)
			}
			out := levels{}
			show(out, n, 15, 16, 17, 18, 19, 20, 21, 22)
			carry(out, 13, n, 256, lastCount(256, mode == 3), !is.Has(11), false)
			if !is.Has(11) && (mode == 0 || mode == 2) {
				out[13] = logic.X // the data books specify a carry while counting only
			}
			return out
		}
	}
}
