package library_test

import (
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// A clocking says at which edges a flip-flop takes its inputs in and changes its outputs.
type clocking int

const (
	rising  clocking = iota
	falling          // also pulse-triggered, whose inputs stay while the clock is high
	lockout          // in at the rise, out at the fall
)

// A gatedJK is one J-K flip-flop by its pins: 0 where there is none. /PRE and /CLR
// are low to act; both low make both outputs high.
type gatedJK struct {
	clock, pre, clr int
	j, k            func(is part.Pins) int
	q, notQ         int
}

// allOf is the AND of pins, a negative number for a complement.
func allOf(pins ...int) func(part.Pins) int {
	return func(is part.Pins) int {
		for _, p := range pins {
			if p > 0 && !is.Has(p) || p < 0 && is.Has(-p) {
				return 0
			}
		}
		return 1
	}
}

// eitherPair is the OR of two ANDs of two pins.
func eitherPair(a, b, c, d int) func(part.Pins) int {
	return func(is part.Pins) int { return max(allOf(a, b)(is), allOf(c, d)(is)) }
}

func flipFlops74(how clocking, chips ...gatedJK) modelOf {
	return func(*part.Variant) model {
		q, taken := stages(len(chips)), stages(len(chips))
		return func(was, is part.Pins) map[int]logic.Value {
			out := levels{}
			for i, f := range chips {
				set := f.pre != 0 && !is.Has(f.pre)
				reset := f.clr != 0 && !is.Has(f.clr)
				if rose(was, is, f.clock) {
					taken[i] = jkFlipFlop(q[i], f.j(is), f.k(is))
				}
				switch {
				case set:
					q[i], taken[i] = 1, 1
				case reset:
					q[i], taken[i] = 0, 0
				case how == rising && rose(was, is, f.clock),
					how == lockout && fell(was, is, f.clock):
					q[i] = taken[i]
				case how == falling && fell(was, is, f.clock):
					q[i] = jkFlipFlop(q[i], f.j(is), f.k(is))
				}
				put(out, f.q, q[i])
				if f.notQ != 0 {
					both(out, q[i], f.q, f.notQ)
				}
				if set && reset {
					out[f.q], out[f.notQ] = logic.One, logic.One
				}
			}
			return out
		}
	}
}

// From memory of the TTL data books' function tables.
var _ = addStates74(map[string]modelOf{
	"7470": flipFlops74(rising, gatedJK{12, 13, 2, allOf(3, 4, -5), allOf(10, 11, -9), 8, 6}),
	"7471": func(v *part.Variant) model {
		if v.Families[0].Name == "74H" {
			return flipFlops74(falling, gatedJK{13, 5, 0, eitherPair(1, 2, 3, 4), eitherPair(9, 10, 11, 12), 6, 8})(v)
		}
		return flipFlops74(falling, gatedJK{12, 13, 2, allOf(3, 4, 5), allOf(9, 10, 11), 8, 6})(v) // S and R never both
	},
	"7478": func(v *part.Variant) model {
		if v.Families[0].Name == "74H" {
			return flipFlops74(falling,
				gatedJK{9, 13, 12, allOf(4), allOf(1), 2, 3}, gatedJK{9, 10, 12, allOf(11), allOf(8), 6, 5})(v)
		}
		return flipFlops74(falling,
			gatedJK{1, 2, 5, allOf(3), allOf(14), 13, 12}, gatedJK{1, 6, 5, allOf(10), allOf(7), 8, 9})(v)
	},
	"74101": flipFlops74(falling, gatedJK{13, 5, 0, eitherPair(1, 2, 3, 4), eitherPair(9, 10, 11, 12), 6, 8}),
	"74102": flipFlops74(falling, gatedJK{12, 13, 2, allOf(3, 4, 5), allOf(9, 10, 11), 8, 6}),
	"74103": flipFlops74(falling,
		gatedJK{1, 0, 2, allOf(14), allOf(3), 12, 13}, gatedJK{5, 0, 6, allOf(7), allOf(10), 9, 8}),
	"74106": flipFlops74(falling,
		gatedJK{1, 2, 3, allOf(4), allOf(16), 15, 14}, gatedJK{6, 7, 8, allOf(9), allOf(12), 11, 10}),
	"74110": flipFlops74(lockout, gatedJK{12, 13, 2, allOf(3, 4, 5), allOf(9, 10, 11), 8, 6}),
	"74111": flipFlops74(lockout,
		gatedJK{5, 2, 3, allOf(4), allOf(1), 7, 6}, gatedJK{11, 14, 13, allOf(12), allOf(15), 9, 10}),
	"74276": flipFlops74(falling,
		gatedJK{3, 11, 1, allOf(2), allOf(-4), 5, 0}, gatedJK{8, 11, 1, allOf(9), allOf(-7), 6, 0},
		gatedJK{13, 11, 1, allOf(12), allOf(-14), 15, 0}, gatedJK{18, 11, 1, allOf(19), allOf(-17), 16, 0}),
	"74376": flipFlops74(rising,
		gatedJK{9, 0, 1, allOf(2), allOf(-3), 4, 0}, gatedJK{9, 0, 1, allOf(7), allOf(-6), 5, 0},
		gatedJK{9, 0, 1, allOf(10), allOf(-11), 12, 0}, gatedJK{9, 0, 1, allOf(15), allOf(-14), 13, 0}),
})
