package library_test

import (
	"slices"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// stages are a shift register's levels, the first stage first, all unknown.
func stages(n int) []int { return slices.Repeat([]int{-1}, n) }

// shifted moves every level one stage on and takes one in.
func shifted(q []int, in int) []int {
	return append([]int{in}, q[:len(q)-1]...)
}

// levelsOf reads pins, one a stage.
func levelsOf(is part.Pins, pins ...int) (q []int) {
	for _, pin := range pins {
		q = append(q, lev(is, pin))
	}
	return q
}

func shifter4006(*part.Variant) model {
	q := [][]int{stages(4), stages(5), stages(4), stages(5)}
	return func(was, is part.Pins) map[int]logic.Value {
		if fell(was, is, 3) {
			for i, pin := range []int{1, 4, 5, 6} {
				q[i] = shifted(q[i], lev(is, pin))
			}
		}
		out := levels{}
		putAll(out, []int{q[0][3], q[1][3], q[1][4], q[2][3], q[3][3], q[3][4]}, 13, 11, 12, 10, 8, 9)
		return out
	}
}

func shifter4014(asynchronous bool) modelOf {
	return func(*part.Variant) model {
		q := stages(8)
		return func(was, is part.Pins) map[int]logic.Value {
			clock, load := rose(was, is, 10), is.Has(9)
			switch {
			case load && (asynchronous || clock):
				q = levelsOf(is, 7, 6, 5, 4, 13, 14, 15, 1)
			case clock:
				q = shifted(q, lev(is, 11))
			}
			out := levels{}
			putAll(out, q[5:], 2, 12, 3)
			return out
		}
	}
}

func shifter4015(*part.Variant) model {
	q := [][]int{stages(4), stages(4)}
	return func(was, is part.Pins) map[int]logic.Value {
		out := levels{}
		for i, p := range [][]int{{9, 6, 7, 5, 4, 3, 10}, {1, 14, 15, 13, 12, 11, 2}} {
			switch {
			case is.Has(p[1]):
				q[i] = []int{0, 0, 0, 0}
			case rose(was, is, p[0]):
				q[i] = shifted(q[i], lev(is, p[2]))
			}
			putAll(out, q[i], p[3:]...)
		}
		return out
	}
}

func shifter4031(*part.Variant) model {
	q := stages(64)
	return func(was, is part.Pins) map[int]logic.Value {
		if rose(was, is, 2) {
			in := lev(is, 15)
			if is.Has(10) {
				in = lev(is, 1)
			}
			q = shifted(q, in)
		}
		out := levels{}
		both(out, q[63], 6, 7)
		put(out, 9, lev(is, 2)) // the buffered clock, for the register before this one
		return out
	}
}

// jNotK is the level that a first stage with J and an inverted K takes in.
func jNotK(q, j, notK int) int { return jkFlipFlop(q, j, 1-notK) }

func shifter4035(*part.Variant) model {
	q := stages(4)
	return func(was, is part.Pins) map[int]logic.Value {
		clock := rose(was, is, 6)
		switch {
		case is.Has(5):
			q = []int{0, 0, 0, 0}
		case clock && is.Has(7):
			q = levelsOf(is, 9, 10, 11, 12)
		case clock:
			q = shifted(q, jNotK(q[0], lev(is, 4), lev(is, 3)))
		}
		out := levels{}
		for i, pin := range []int{1, 15, 14, 13} {
			put(out, pin, q[i])
			if !is.Has(2) {
				out[pin] = out[pin].Not()
			}
		}
		return out
	}
}

func shifter40195(*part.Variant) model {
	q := stages(4)
	return func(was, is part.Pins) map[int]logic.Value {
		clock := rose(was, is, 10)
		switch {
		case !is.Has(1):
			q = []int{0, 0, 0, 0}
		case clock && !is.Has(9):
			q = levelsOf(is, 4, 5, 6, 7)
		case clock:
			q = shifted(q, jNotK(q[0], lev(is, 2), lev(is, 3)))
		}
		out := levels{}
		putAll(out, q, 15, 14, 13)
		both(out, q[3], 12, 11)
		return out
	}
}

// universal is a 40194 with a reset, or a 40104 that is reset by its mode and can release its outputs.
func universal(reset bool) modelOf {
	return func(*part.Variant) model {
		q := stages(4)
		return func(was, is part.Pins) map[int]logic.Value {
			clock, mode := rose(was, is, 11), number(is, 10, 9)
			switch {
			case reset && !is.Has(1), !reset && clock && mode == 0:
				q = []int{0, 0, 0, 0}
			case clock && mode == 3:
				q = levelsOf(is, 3, 4, 5, 6)
			case clock && mode == 1:
				q = shifted(q, lev(is, 2))
			case clock && mode == 2:
				q = append(slices.Clone(q[1:]), lev(is, 7))
			}
			out := levels{}
			putAll(out, q, 15, 14, 13, 12)
			release(out, !reset && !is.Has(1), 15, 14, 13, 12)
			return out
		}
	}
}

func shifter4034(*part.Variant) model {
	a := []int{16, 17, 18, 19, 20, 21, 22, 23}
	b := []int{8, 7, 6, 5, 4, 3, 2, 1}
	q := stages(8)
	return func(was, is part.Pins) map[int]logic.Value {
		enableA, fromA, parallel, asynchronous := is.Has(9), is.Has(11), is.Has(13), is.Has(14)
		clock := rose(was, is, 15)
		switch {
		case !parallel && clock:
			q = shifted(q, lev(is, 10))
		case parallel && (asynchronous || clock) && !fromA:
			q = levelsOf(is, b...)
		case parallel && (asynchronous || clock) && fromA && enableA:
			q = levelsOf(is, a...)
		}
		out := levels{}
		putAll(out, q, a...)
		release(out, fromA || !enableA, a...)
		putAll(out, q, b...)
		release(out, !fromA, b...)
		return out
	}
}

func shifter4094(*part.Variant) model {
	q, store, last := stages(8), stages(8), -1
	return func(was, is part.Pins) map[int]logic.Value {
		if rose(was, is, 3) {
			q = shifted(q, lev(is, 2))
		}
		if fell(was, is, 3) {
			last = q[7]
		}
		if is.Has(1) {
			store = q
		}
		out := levels{}
		putAll(out, store, 4, 5, 6, 7, 14, 13, 12, 11)
		release(out, !is.Has(15), 4, 5, 6, 7, 14, 13, 12, 11)
		putAll(out, []int{q[7], last}, 9, 10)
		return out
	}
}

func shifter4517(*part.Variant) model {
	q := [][]int{stages(64), stages(64)}
	return func(was, is part.Pins) map[int]logic.Value {
		out := levels{}
		// data, write enable, clock, and the taps of 16, 32, 48 and 64 stages
		for i, p := range [][]int{{7, 3, 4, 1, 6, 2, 5}, {9, 13, 12, 15, 10, 14, 11}} {
			write := is.Has(p[1])
			if rose(was, is, p[2]) {
				q[i] = shifted(q[i], lev(is, p[0]))
				if write {
					q[i][16], q[i][32], q[i][48] = lev(is, p[3]), lev(is, p[4]), lev(is, p[5])
				}
			}
			putAll(out, []int{q[i][15], q[i][31], q[i][47], q[i][63]}, p[3:]...)
			release(out, write, p[3:6]...)
			if write {
				out[p[6]] = logic.X
			}
		}
		return out
	}
}
