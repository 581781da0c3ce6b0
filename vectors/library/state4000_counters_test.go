package library_test

import (
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// gatedClock is the inner clock of a counter with an inhibit input: it rises
// with the clock while the inhibit is low, or with the inhibit's fall while the clock is high.
func gatedClock(was, is part.Pins, clock, inhibit int) (rose bool) {
	return !(was.Has(clock) && !was.Has(inhibit)) && is.Has(clock) && !is.Has(inhibit)
}

// johnson is a counter with decoded outputs, the carry high for the first half of the counts.
func johnson(carry int, outputs ...int) modelOf {
	return func(*part.Variant) model {
		n := -1
		return func(was, is part.Pins) map[int]logic.Value {
			switch {
			case is.Has(15):
				n = 0
			case n >= 0 && gatedClock(was, is, 14, 13):
				n = (n + 1) % len(outputs)
			}
			if n < 0 {
				return unknown(append(outputs, carry)...)
			}
			out := levels{carry: logic.FromBool(n < len(outputs)/2)}
			oneOf(out, n, true, outputs...)
			return out
		}
	}
}

// ripple is a counter of stages that moves at the fall of its clock; stages has the pin of each that is out.
func ripple(stages, clock, reset int, pins map[int]int) modelOf {
	return func(*part.Variant) model {
		n := -1
		return func(was, is part.Pins) map[int]logic.Value {
			switch {
			case is.Has(reset):
				n = 0
			case n >= 0 && fell(was, is, clock):
				n = (n + 1) % (1 << stages)
			}
			out := levels{}
			for stage, pin := range pins {
				put(out, pin, -1)
				if n >= 0 {
					put(out, pin, n>>(stage-1)&1)
				}
			}
			return out
		}
	}
}

// withOscillator adds the outputs of an oscillator whose input is driven: one inverted, one in phase.
func withOscillator(in, reset, inverted, inPhase int, of modelOf) modelOf {
	return func(v *part.Variant) model {
		m := of(v)
		return func(was, is part.Pins) map[int]logic.Value {
			out := m(was, is)
			put(out, inverted, 1-lev(is, in))
			put(out, inPhase, lev(is, in))
			if is.Has(reset) {
				out[inverted], out[inPhase] = logic.X, logic.X
			}
			return out
		}
	}
}

// timer4541 divides, or with pin 10 low keeps the first change after a reset until that pin is high.
func timer4541(v *part.Variant) model {
	n, kept := -1, -1
	return withOscillator(3, 6, 1, 2, func(*part.Variant) model {
		return func(was, is part.Pins) map[int]logic.Value {
			out := unknown(8)
			clocked := rose(was, is, 3)
			switch {
			case is.Has(6):
				n = 0
			case n >= 0 && clocked:
				n = (n + 1) % 65536
			}
			if n < 0 {
				return out
			}
			period := []int{8192, 1024, 256, 65536}[number(is, 12, 13)]
			half := n % period / (period / 2)
			switch {
			case is.Has(6) || is.Has(10):
				kept = 0
			case was.Has(10) && half == 1:
				kept = -1 // it is not specified whether a change that is past is kept
			case clocked && half == 1 && n%(period/2) == 0:
				kept = 1
			}
			switch {
			case is.Has(10) || kept == 0:
				put(out, 8, half^lev(is, 9))
			case kept == 1 || half == 1:
				put(out, 8, 1^lev(is, 9))
			}
			return out
		}
	})(v)
}

// divider4521 counts where the level at OUT2 rises, which is IN2 inverted: in one
// chain, or with pin 3 high and OUT2 joined to IN2 in three sections of eight.
func divider4521(*part.Variant) model {
	var sections [3]int // the first stages first
	known := false
	node := func(is part.Pins) bool {
		if is.Has(3) {
			return is.Has(6)
		}
		return is.Has(5) && !is.Has(6)
	}
	return func(was, is part.Pins) map[int]logic.Value {
		counts := !node(was) && node(is)
		switch {
		case is.Has(2):
			sections, known = [3]int{}, true
		case was.Has(3) && !is.Has(3) && (sections[0] < 128 || sections[1] < 128):
			known = false // the next section sees its clock fall, or not
		case counts && is.Has(3):
			for i := range sections {
				sections[i] = (sections[i] + 1) % 256
			}
		case counts:
			n := (sections[2]<<16 | sections[1]<<8 | sections[0]) + 1
			sections = [3]int{n % 256, n >> 8 % 256, n >> 16 % 256}
		}
		out := unknown(1, 15, 14, 13, 12, 11, 10, 4, 7)
		if known {
			show(out, sections[2]>>1, 1, 15, 14, 13, 12, 11, 10)
		}
		if !is.Has(3) && is.Has(5) {
			put(out, 4, 1-lev(is, 6))
		}
		if !is.Has(2) {
			put(out, 7, 1-lev(is, 9))
		}
		return out
	}
}

func divider4018(*part.Variant) model {
	q := []int{-1, -1, -1, -1, -1}
	return func(was, is part.Pins) map[int]logic.Value {
		switch {
		case is.Has(15):
			q = []int{0, 0, 0, 0, 0}
		case is.Has(10):
			q = []int{lev(is, 2), lev(is, 3), lev(is, 7), lev(is, 9), lev(is, 12)}
		case rose(was, is, 14):
			third := q[1]
			if q[1] != q[0] && q[1] != q[2] || q[0] < 0 || q[2] < 0 {
				third = -1
			}
			q = []int{lev(is, 1), q[0], third, q[2], q[3]}
		}
		out := levels{}
		for i, pin := range []int{5, 4, 6, 11, 13} {
			out[pin] = logic.X
			if q[i] >= 0 {
				put(out, pin, 1-q[i])
			}
		}
		return out
	}
}

// displayCounter is a 4026, or a 4033 with ripple blanking and lamp test.
func displayCounter(blanking bool) modelOf {
	pins := [7]int{10, 12, 13, 9, 11, 6, 7}
	return func(*part.Variant) model {
		n := -1
		return func(was, is part.Pins) map[int]logic.Value {
			switch {
			case is.Has(15):
				n = 0
			case n >= 0 && gatedClock(was, is, 1, 2):
				n = (n + 1) % 10
			}
			out := unknown(5, 14, 4, 10, 12, 13, 9, 11, 6, 7)
			if n >= 0 {
				segments(out, digits[n], tails(n), pins)
				put(out, 5, 1-n/5)
			}
			if !blanking {
				if n >= 0 {
					out[14] = logic.FromBool(n != 2)
				}
				put(out, 4, lev(is, 3))
				if !is.Has(3) {
					segments(out, "", "", pins)
				}
				return out
			}
			if n >= 0 && !is.Has(14) {
				dark := n == 0 && !is.Has(3)
				out[4] = logic.FromBool(!dark)
				if dark {
					segments(out, "", "", pins)
				}
			}
			if is.Has(14) {
				segments(out, "abcdefg", "", pins)
			}
			return out
		}
	}
}

// displayCounter40110 counts up and down and shows what a latch holds; the
// count is not specified after its enable has moved while a clock was high.
func displayCounter40110(*part.Variant) model {
	n, shown := -1, -1
	return func(was, is part.Pins) map[int]logic.Value {
		up, down, disabled := 9, 7, is.Has(4)
		switch {
		case is.Has(5):
			n = 0
		case was.Has(4) != disabled && (is.Has(up) || is.Has(down)):
			n = -1
		case rose(was, is, up) && !disabled:
			n = next(n, 10, true)
		case rose(was, is, down) && !disabled:
			n = next(n, 10, false)
		}
		if !is.Has(6) {
			shown = n
		}
		pins := [7]int{1, 15, 14, 13, 12, 3, 2}
		out := unknown(pins[:]...)
		if shown >= 0 {
			segments(out, digits[shown], tails(shown), pins)
		}
		return out
	}
}

// next counts up or down within a base; what follows a number past it is unknown.
func next(n, base int, up bool) int {
	switch {
	case n < 0 || n >= base:
		return -1
	case up:
		return (n + 1) % base
	}
	return (n + base - 1) % base
}

// carryLow is an active-low carry output: low at the last count in the counting direction.
func carryLow(out map[int]logic.Value, pin, n, base int, up, enabled bool) {
	switch {
	case !enabled:
		out[pin] = logic.One
	case n < 0 || n >= base && up:
		out[pin] = logic.X
	case up:
		out[pin] = logic.FromBool(n != base-1)
	default:
		out[pin] = logic.FromBool(n != 0)
	}
}

func counter4029(*part.Variant) model {
	n := -1
	return func(was, is part.Pins) map[int]logic.Value {
		base := 10
		if is.Has(9) {
			base = 16
		}
		up, enabled := is.Has(10), !is.Has(5)
		switch {
		case is.Has(1):
			n = number(is, 3, 13, 12, 4)
		case enabled && rose(was, is, 15):
			n = next(n, base, up)
		}
		out := levels{}
		show(out, n, 2, 14, 11, 6)
		carryLow(out, 7, n, base, up, enabled)
		return out
	}
}

func counter4510(base int) modelOf {
	return func(*part.Variant) model {
		n := -1
		return func(was, is part.Pins) map[int]logic.Value {
			up, enabled := is.Has(10), !is.Has(5)
			switch {
			case is.Has(9):
				n = 0
			case is.Has(1):
				n = number(is, 3, 13, 12, 4)
			case enabled && rose(was, is, 15):
				n = next(n, base, up)
			}
			out := levels{}
			show(out, n, 2, 14, 11, 6)
			carryLow(out, 7, n, base, up, enabled)
			return out
		}
	}
}

// counter40192 has a clock for each direction; carry and borrow repeat the low clock at the last count.
func counter40192(base int) modelOf {
	return func(*part.Variant) model {
		n := -1
		return func(was, is part.Pins) map[int]logic.Value {
			switch {
			case is.Has(14):
				n = 0
			case !is.Has(11):
				n = number(is, 9, 10, 1, 15)
			case rose(was, is, 5) && is.Has(4):
				n = next(n, base, true)
			case rose(was, is, 4) && is.Has(5):
				n = next(n, base, false)
			}
			out := levels{}
			show(out, n, 7, 6, 2, 3)
			carryLow(out, 12, n, base, true, !is.Has(5))
			carryLow(out, 13, n, base, false, !is.Has(4))
			return out
		}
	}
}

func counter40160(base int, synchronousClear bool) modelOf {
	return func(*part.Variant) model {
		n := -1
		return func(was, is part.Pins) map[int]logic.Value {
			clock := rose(was, is, 2)
			switch {
			case !is.Has(1) && (clock || !synchronousClear):
				n = 0
			case clock && !is.Has(1):
			case clock && !is.Has(9):
				n = number(is, 6, 5, 4, 3)
			case clock && is.Has(7) && is.Has(10):
				n = next(n, base, true)
			}
			out := levels{}
			show(out, n, 11, 12, 13, 14)
			put(out, 15, 0)
			if is.Has(10) {
				put(out, 15, -1)
				if n >= 0 && n < base {
					out[15] = logic.FromBool(n == base-1)
				}
			}
			return out
		}
	}
}

// dualCounter counts at the rise of the clock with the enable high, or at the fall of the enable with the clock low.
func dualCounter(base int) modelOf {
	return func(*part.Variant) model {
		n := []int{-1, -1}
		return func(was, is part.Pins) map[int]logic.Value {
			out := levels{}
			for i, half := range [][3]int{{1, 2, 7}, {9, 10, 15}} {
				clock, enable, reset := half[0], half[1], half[2]
				switch {
				case is.Has(reset):
					n[i] = 0
				case rose(was, is, clock) && is.Has(enable), fell(was, is, enable) && !is.Has(clock):
					n[i] = next(n[i], base, true)
				}
				first := []int{6, 14}[i]
				show(out, n[i], first, first-1, first-2, first-3)
			}
			return out
		}
	}
}

func divideByN(base int) modelOf {
	return func(*part.Variant) model {
		n := -1
		return func(was, is part.Pins) map[int]logic.Value {
			switch {
			case is.Has(10):
				n = 0
			case is.Has(3):
				n = number(is, 2, 14, 11, 5)
			case gatedClock(was, is, 6, 4):
				n = next(n, base, false)
			}
			out := levels{}
			show(out, n, 1, 15, 9, 7)
			switch {
			case is.Has(3) || is.Has(10) && !is.Has(13) || is.Has(13) && n < 0:
				out[12] = logic.X
			default:
				out[12] = logic.FromBool(n == 0 && is.Has(13))
			}
			return out
		}
	}
}

// downCounter is a 40102 with two decades, or a binary 40103; only its zero is seen.
func downCounter(base int) modelOf {
	return func(*part.Variant) model {
		n := -1
		jam := func(is part.Pins) int {
			high, low := number(is, 13, 12, 11, 10), number(is, 7, 6, 5, 4)
			if base == 100 && (high > 9 || low > 9) {
				return 100 // no number: not zero, and unknown after a clock
			}
			return high*map[int]int{100: 10, 256: 16}[base] + low
		}
		return func(was, is part.Pins) map[int]logic.Value {
			clock := rose(was, is, 1)
			switch {
			case !is.Has(2):
				n = base - 1
			case !is.Has(9):
				n = jam(is)
			case clock && !is.Has(15):
				n = jam(is)
			case clock && !is.Has(3):
				n = next(n, base, false)
			}
			out := levels{}
			carryLow(out, 14, n, base, false, !is.Has(3))
			return out
		}
	}
}
