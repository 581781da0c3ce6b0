package library_test

import (
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// The models of the 7400 series' counters, by pin numbers: integers that count,
// -1 while unknown. From memory of the TTL data books.
var _ = addStates74(map[string]modelOf{
	"7490":  rippleDecade(14, 1, 12, []int{11, 8, 9}, []int{2, 3}, []int{6, 7}),
	"74290": rippleDecade(10, 11, 9, []int{8, 4, 5}, []int{12, 13}, []int{1, 3}),
	"7492":  rippleTwelve,
	"7493":  rippleBinary(14, 1, 12, []int{11, 8, 9}, []int{2, 3}),
	"74293": rippleBinary(10, 11, 9, []int{8, 4, 5}, []int{12, 13}),
	"74393": eachOf(counted{clock: 1, clear: 2, modulus: 16, q: []int{6, 5, 4, 3}}.model,
		counted{clock: 13, clear: 12, modulus: 16, q: []int{8, 9, 10, 11}}.model),
	"74390": eachOf(counted{clock: 1, clear: 2, modulus: 2, q: []int{3}}.model, counted{clock: 4, clear: 2, modulus: 5, q: []int{7, 6, 5}}.model,
		counted{clock: 15, clear: 14, modulus: 2, q: []int{13}}.model, counted{clock: 12, clear: 14, modulus: 5, q: []int{9, 10, 11}}.model),
	"74490": eachOf(counted{clock: 1, clear: 2, nine: 4, modulus: 10, q: []int{7, 6, 5, 3}}.model,
		counted{clock: 15, clear: 14, nine: 12, modulus: 10, q: []int{9, 10, 11, 13}}.model),
	"74197": presettable(8), "74177": presettable(8), "74196": presettable(5), "74176": presettable(5),

	"74161": synchronous{modulus: 16}.model,
	"74163": synchronous{modulus: 16, clearsAtClock: true}.model,
	"74160": synchronous{modulus: 10}.model,
	"74162": synchronous{modulus: 10, clearsAtClock: true}.model,
	"74169": upDown169(16), "74669": upDown169(16), "74168": upDown169(10), "74668": upDown169(10),
	"74191": upDown191(16), "74190": upDown191(10),
	"74193": upDown193(16), "74192": upDown193(10),
	"74590": counter590,
})

// following counts up within a cycle; from outside it nothing is specified.
func following(n, modulus int) int {
	if n < 0 || n >= modulus {
		return -1
	}
	return (n + 1) % modulus
}

// previous counts down within a cycle.
func previous(n, modulus int) int {
	if n < 0 || n >= modulus {
		return -1
	}
	return (n + modulus - 1) % modulus
}

func bothHigh(is part.Pins, pins []int) bool { return is.Has(pins[0]) && is.Has(pins[1]) }

// counted counts at the fall of its clock, cleared and set to nine by highs.
type counted struct {
	clock, clear, nine, modulus int
	q                           []int
}

func (c counted) model(*part.Variant) model {
	n := -1
	return func(was, is part.Pins) map[int]logic.Value {
		switch {
		case is.Has(c.clear):
			n = 0
		case c.nine != 0 && is.Has(c.nine):
			n = 9
		case fell(was, is, c.clock):
			n = following(n, c.modulus)
		}
		out := map[int]logic.Value{}
		show(out, n, c.q...)
		return out
	}
}

func rippleDecade(clockA, clockB, qa int, q, zero, nine []int) modelOf {
	return func(*part.Variant) model {
		a, n := -1, -1
		return func(was, is part.Pins) map[int]logic.Value {
			switch {
			case bothHigh(is, nine):
				a, n = 1, 4
			case bothHigh(is, zero):
				a, n = 0, 0
			default:
				if fell(was, is, clockA) {
					a = following(a, 2)
				}
				if fell(was, is, clockB) {
					n = following(n, 5)
				}
			}
			out := map[int]logic.Value{}
			show(out, a, qa)
			show(out, n, q...)
			return out
		}
	}
}

func rippleBinary(clockA, clockB, qa int, q, zero []int) modelOf {
	return func(*part.Variant) model {
		a, n := -1, -1
		return func(was, is part.Pins) map[int]logic.Value {
			if bothHigh(is, zero) {
				a, n = 0, 0
			} else {
				if fell(was, is, clockA) {
					a = following(a, 2)
				}
				if fell(was, is, clockB) {
					n = following(n, 8)
				}
			}
			out := map[int]logic.Value{}
			show(out, a, qa)
			show(out, n, q...)
			return out
		}
	}
}

// The 7492's three stages count 0 1 2 4 5 6: the table of the data book.
func rippleTwelve(*part.Variant) model {
	codes := []int{0, 1, 2, 4, 5, 6}
	a, n := -1, -1
	return func(was, is part.Pins) map[int]logic.Value {
		if is.Has(6) && is.Has(7) {
			a, n = 0, 0
		} else {
			if fell(was, is, 14) {
				a = following(a, 2)
			}
			if fell(was, is, 1) {
				n = following(n, 6)
			}
		}
		out := map[int]logic.Value{}
		show(out, a, 12)
		code := -1
		if n >= 0 {
			code = codes[n]
		}
		show(out, code, 8, 9, 11)
		return out
	}
}

func presettable(modulus int) modelOf {
	return func(*part.Variant) model {
		a, n := -1, -1
		return func(was, is part.Pins) map[int]logic.Value {
			switch {
			case !is.Has(13):
				a, n = 0, 0
			case !is.Has(1):
				a, n = number(is, 4), number(is, 11, 3, 10)
			default:
				if fell(was, is, 8) {
					a = following(a, 2)
				}
				if fell(was, is, 6) {
					n = following(n, modulus)
				}
			}
			out := map[int]logic.Value{}
			show(out, a, 5)
			show(out, n, 12, 2, 9)
			return out
		}
	}
}

// synchronous is the 74160 to 74163.
type synchronous struct {
	modulus       int
	clearsAtClock bool
}

func (s synchronous) model(*part.Variant) model {
	n := -1
	return func(was, is part.Pins) map[int]logic.Value {
		edge := rose(was, is, 2)
		switch clear := !is.Has(1); {
		case clear && (edge || !s.clearsAtClock):
			n = 0
		case edge && !is.Has(9):
			n = number(is, 6, 5, 4, 3)
		case edge && is.Has(7) && is.Has(10):
			n = following(n, s.modulus)
		}
		out := map[int]logic.Value{}
		show(out, n, 11, 12, 13, 14)
		carry(out, 15, n, s.modulus, s.modulus-1, is.Has(10), true)
		return out
	}
}

// carry shows an output that is active in one state while it is enabled.
func carry(out map[int]logic.Value, pin, n, modulus, at int, enabled, active bool) {
	switch {
	case !enabled:
		out[pin] = logic.FromBool(!active)
	case n < 0 || n >= modulus:
		out[pin] = logic.X
	default:
		out[pin] = logic.FromBool((n == at) == active)
	}
}

func upDown169(modulus int) modelOf {
	return func(*part.Variant) model {
		n := -1
		return func(was, is part.Pins) map[int]logic.Value {
			if rose(was, is, 2) {
				switch {
				case !is.Has(9):
					n = number(is, 6, 5, 4, 3)
				case is.Has(7) || is.Has(10):
				case is.Has(1):
					n = following(n, modulus)
				default:
					n = previous(n, modulus)
				}
			}
			out := map[int]logic.Value{}
			show(out, n, 11, 12, 13, 14)
			at := 0
			if is.Has(1) {
				at = modulus - 1
			}
			carry(out, 15, n, modulus, at, !is.Has(10), false)
			return out
		}
	}
}

func upDown191(modulus int) modelOf {
	return func(*part.Variant) model {
		n := -1
		return func(was, is part.Pins) map[int]logic.Value {
			switch {
			case !is.Has(11):
				n = number(is, 9, 10, 1, 15)
			case rose(was, is, 14) && !is.Has(4):
				if n = following(n, modulus); is.Has(5) && n >= 0 {
					n = previous(previous(n, modulus), modulus)
				}
			}
			out := map[int]logic.Value{}
			show(out, n, 7, 6, 2, 3)
			at := modulus - 1
			if is.Has(5) {
				at = 0
			}
			carry(out, 12, n, modulus, at, true, true)
			carry(out, 13, n, modulus, at, !is.Has(4) && !is.Has(14), false)
			return out
		}
	}
}

func upDown193(modulus int) modelOf {
	return func(*part.Variant) model {
		n := -1
		return func(was, is part.Pins) map[int]logic.Value {
			switch {
			case is.Has(14):
				n = 0
			case !is.Has(11):
				n = number(is, 9, 10, 1, 15)
			case rose(was, is, 5) && is.Has(4):
				n = following(n, modulus)
			case rose(was, is, 4) && is.Has(5):
				n = previous(n, modulus)
			}
			out := map[int]logic.Value{}
			show(out, n, 7, 6, 2, 3)
			carry(out, 12, n, modulus, modulus-1, !is.Has(5), false)
			carry(out, 13, n, modulus, 0, !is.Has(4), false)
			return out
		}
	}
}

func counter590(*part.Variant) model {
	n, shown := -1, -1
	return func(was, is part.Pins) map[int]logic.Value {
		if rose(was, is, 13) {
			shown = n
		}
		switch {
		case !is.Has(10):
			n = 0
		case rose(was, is, 11) && !is.Has(12):
			n = following(n, 256)
		}
		out := map[int]logic.Value{}
		pins := []int{7, 6, 5, 4, 3, 2, 1, 15}
		show(out, shown, pins...)
		release(out, is.Has(14), pins...)
		carry(out, 9, n, 256, 255, true, false)
		return out
	}
}
