package library_test

import (
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// A flip-flop's next level from its present one and its two data inputs.
type nextLevel func(q, first, second int) int

func dFlipFlop(_, d, _ int) int { return d }

func jkFlipFlop(q, j, k int) int {
	switch {
	case j == 1 && k == 0:
		return 1
	case j == 0 && k == 1:
		return 0
	case j == 1 && k == 1 && q >= 0:
		return 1 - q
	}
	return q
}

// flipFlops are set and reset by high levels, and both outputs are high while both are;
// each has clock, set, reset, two data inputs, and the two outputs.
func flipFlops(then nextLevel, pins ...[7]int) modelOf {
	return func(*part.Variant) model {
		q := make([]int, len(pins))
		for i := range q {
			q[i] = -1
		}
		return func(was, is part.Pins) map[int]logic.Value {
			out := levels{}
			for i, p := range pins {
				set, reset := is.Has(p[1]), is.Has(p[2])
				switch {
				case set:
					q[i] = 1
				case reset:
					q[i] = 0
				case rose(was, is, p[0]):
					q[i] = then(q[i], lev(is, p[3]), lev(is, p[4]))
				}
				both(out, q[i], p[5], p[6])
				if set && reset {
					out[p[5]], out[p[6]] = logic.One, logic.One
				}
			}
			return out
		}
	}
}

// both shows a level and its complement.
func both(out map[int]logic.Value, q, pin, complement int) {
	put(out, pin, q)
	put(out, complement, -1)
	if q >= 0 {
		put(out, complement, 1-q)
	}
}

// gatedFlipFlop is a 4095, or a 4096 whose third J and K are inverted; what it
// shows while both set and reset are high is not specified.
func gatedFlipFlop(invert int) modelOf {
	return func(*part.Variant) model {
		q := -1
		return func(was, is part.Pins) map[int]logic.Value {
			set, reset := is.Has(13), is.Has(2)
			switch {
			case set && reset:
				q = -1
			case set:
				q = 1
			case reset:
				q = 0
			case rose(was, is, 12):
				j := lev(is, 3) & lev(is, 4) & (lev(is, 5) ^ invert)
				k := lev(is, 11) & lev(is, 10) & (lev(is, 9) ^ invert)
				q = jkFlipFlop(q, j, k)
			}
			out := levels{}
			both(out, q, 8, 6)
			return out
		}
	}
}

func latch4042(*part.Variant) model {
	q := [4]int{-1, -1, -1, -1}
	return func(_, is part.Pins) map[int]logic.Value {
		out := levels{}
		for i, p := range [][3]int{{4, 2, 3}, {7, 10, 9}, {13, 11, 12}, {14, 1, 15}} {
			if is.Has(5) == is.Has(6) {
				q[i] = lev(is, p[0])
			}
			both(out, q[i], p[1], p[2])
		}
		return out
	}
}

// setResetLatches have set, reset and output pins; active high the set wins,
// active low the reset does. Pin 5 low releases the outputs.
func setResetLatches(activeHigh bool, pins ...[3]int) modelOf {
	return func(*part.Variant) model {
		q := []int{-1, -1, -1, -1}
		return func(_, is part.Pins) map[int]logic.Value {
			out := levels{}
			for i, p := range pins {
				set, reset := is.Has(p[0]) == activeHigh, is.Has(p[1]) == activeHigh
				switch {
				case set && reset:
					q[i] = 0
					if activeHigh {
						q[i] = 1
					}
				case set:
					q[i] = 1
				case reset:
					q[i] = 0
				}
				put(out, p[2], q[i])
				release(out, !is.Has(5), p[2])
			}
			return out
		}
	}
}

func latch4508(*part.Variant) model {
	q := []int{-1, -1}
	return func(_, is part.Pins) map[int]logic.Value {
		out := levels{}
		for i, base := range []int{0, 12} {
			switch {
			case is.Has(base + 1):
				q[i] = 0
			case is.Has(base + 2):
				q[i] = number(is, base+10, base+8, base+6, base+4)
			}
			if i == 0 {
				show(out, q[i], 11, 9, 7, 5)
				release(out, is.Has(3), 11, 9, 7, 5)
				continue
			}
			show(out, q[i], 23, 21, 19, 17)
			release(out, is.Has(15), 23, 21, 19, 17)
		}
		return out
	}
}

// addressable latches: each bank is a data pin and its outputs; the address is most significant first.
func addressable(disable, reset int, banks [][]int, address ...int) modelOf {
	return func(*part.Variant) model {
		q := map[int]int{}
		return func(_, is part.Pins) map[int]logic.Value {
			out := levels{}
			for _, bank := range banks {
				for i, pin := range bank[1:] {
					chosen := !is.Has(disable) && i == number(is, address...)
					switch {
					case chosen:
						q[pin] = lev(is, bank[0])
					case is.Has(reset):
						q[pin] = 0
					}
					put(out, pin, -1)
					if level, known := q[pin]; known {
						put(out, pin, level)
					}
				}
			}
			return out
		}
	}
}

// latch4599 gives the addressed latch at its data pin while it is read.
func latch4599(*part.Variant) model {
	q := stages(8)
	return func(_, is part.Pins) map[int]logic.Value {
		at := number(is, 7, 6, 5)
		write := is.Has(8) && is.Has(10) && !is.Has(4)
		if is.Has(2) {
			q = make([]int, 8)
		}
		switch {
		case write && is.Has(2):
			q[at] = -1
		case write:
			q[at] = lev(is, 3)
		}
		out := levels{}
		putAll(out, q, 11, 12, 13, 14, 15, 16, 17, 1)
		put(out, 3, q[at])
		release(out, !is.Has(8) || is.Has(10), 3)
		return out
	}
}

func register4076(*part.Variant) model {
	n := -1
	return func(was, is part.Pins) map[int]logic.Value {
		switch {
		case is.Has(15):
			n = 0
		case rose(was, is, 7) && !is.Has(9) && !is.Has(10):
			n = number(is, 11, 12, 13, 14)
		}
		out := levels{}
		show(out, n, 6, 5, 4, 3)
		release(out, is.Has(1) || is.Has(2), 6, 5, 4, 3)
		return out
	}
}

// clearedRegister has rows of data, output and, where there is one, inverted output.
func clearedRegister(rows [][]int) modelOf {
	return func(*part.Variant) model {
		q := map[int]int{}
		return func(was, is part.Pins) map[int]logic.Value {
			out := levels{}
			for _, row := range rows {
				switch {
				case !is.Has(1):
					q[row[0]] = 0
				case rose(was, is, 9):
					q[row[0]] = lev(is, row[0])
				}
				level, known := q[row[0]]
				if !known {
					level = -1
				}
				both(out, level, row[1], row[len(row)-1])
				if len(row) == 2 {
					put(out, row[1], level)
				}
			}
			return out
		}
	}
}

func octalRegister(edge bool) modelOf {
	return func(*part.Variant) model {
		n := -1
		return func(was, is part.Pins) map[int]logic.Value {
			if edge && rose(was, is, 11) || !edge && is.Has(11) {
				n = number(is, 18, 17, 14, 13, 8, 7, 4, 3)
			}
			out := levels{}
			show(out, n, 19, 16, 15, 12, 9, 6, 5, 2)
			release(out, is.Has(1), 19, 16, 15, 12, 9, 6, 5, 2)
			return out
		}
	}
}
