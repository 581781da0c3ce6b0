package library_test

import (
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// timer4536 shows one of its last sixteen stages. Pin 6 takes the first eight out of
// the chain; with pins 1 and 2 high besides, three sections of eight count at once.
func timer4536(*part.Variant) model {
	sections := [3]int{-1, -1, -1} // the first stages first; -1 is unknown
	test := func(is part.Pins) bool { return is.Has(1) && is.Has(2) && is.Has(6) }
	oscillator := func(is part.Pins) bool { return is.Has(3) && !is.Has(14) && (test(is) || !is.Has(1) && !is.Has(2)) }
	advance := func(i int) (carried bool) {
		if sections[i] < 0 {
			return false
		}
		sections[i] = (sections[i] + 1) % 256
		return sections[i] == 0
	}
	return func(was, is part.Pins) map[int]logic.Value {
		set, reset := is.Has(1), is.Has(2)
		fall := oscillator(was) && !oscillator(is) && !is.Has(7)
		switch {
		case test(is) && fall:
			for i := range sections {
				advance(i)
			}
		case test(is):
		case set:
			sections = [3]int{-1, -1, -1}
		case reset:
			sections = [3]int{}
		case fall && is.Has(6):
			sections[0] = -1 // whether the stages left out count is not specified
			if advance(1) {
				advance(2)
			}
		case fall:
			if sections[0] < 0 {
				sections[1] = -1
			}
			if advance(0) && advance(1) {
				advance(2)
			}
		case !was.Has(6) && is.Has(6) && (sections[0] < 0 || sections[0] > 127):
			sections[1] = -1 // from the high eighth stage to the low clock: a fall, or not
		}
		if sections[1] < 0 {
			sections[2] = -1
		}
		out := unknown(13)
		switch {
		case set && !reset:
			out[13] = logic.One
		case set && !test(is):
		case sections[2] >= 0:
			put(out, 13, (sections[2]<<8|sections[1])>>number(is, 12, 11, 10, 9)&1)
		}
		return out
	}
}

// A bouncer is one channel of a 4490 in one of the ways its data sheet may be read:
// which edge takes the level in, whether the output waits for the other edge, and
// whether a level that turns back before that calls it off.
type bouncer struct {
	fall, late, off bool

	out      int
	register [4]int
	due      bool // the output follows at the next edge of the other kind
}

// step takes in what the contact does, and then the edge of the clock, of which there
// is one or none.
func (b *bouncer) step(level int, rises, falls bool) {
	if level == b.out && (!b.due || b.off) {
		b.register, b.due = [4]int{level, level, level, level}, false
	}
	if b.due && (b.fall && rises || !b.fall && falls) {
		b.out, b.due = b.register[3], false
	}
	if (rises && !b.fall || falls && b.fall) && level != b.out {
		b.register = [4]int{level, b.register[0], b.register[1], b.register[2]}
		if b.register == [4]int{level, level, level, level} {
			b.due = b.late
			if !b.late {
				b.out = level
			}
		}
	}
}

// bounce4490 knows an output where all readings of the data sheet, from all contents
// at power-up, agree on it.
func bounce4490(*part.Variant) model {
	channels := map[int]int{1: 15, 14: 2, 3: 13, 12: 4, 5: 11, 10: 6}
	readings := map[int][]bouncer{}
	for in := range channels {
		for n := range 256 {
			b := bouncer{fall: n&1 != 0, late: n&2 != 0, off: n&4 != 0, out: n >> 3 & 1}
			for i := range b.register {
				b.register[i] = n >> (4 + i) & 1
			}
			readings[in] = append(readings[in], b)
		}
	}
	return func(was, is part.Pins) map[int]logic.Value {
		out := levels{}
		for in, to := range channels {
			seen := [2]bool{}
			for i := range readings[in] {
				b := &readings[in][i]
				b.step(lev(is, in), rose(was, is, 7), fell(was, is, 7))
				seen[b.out] = true
			}
			put(out, to, -1)
			if seen[0] != seen[1] {
				out[to] = logic.FromBool(seen[1])
			}
		}
		return out
	}
}

// threeDigits4553 counts to 999 and shows one digit at a time, active low at pins 2, 1
// and 15; after a whole pulse at pin 4 the next digit is on show, at whichever edge it
// comes there. Its overflow falls as the count goes to 0.
func threeDigits4553(*part.Variant) model {
	n, held, digit := -1, -1, -1
	return func(was, is part.Pins) map[int]logic.Value {
		reset := is.Has(13)
		counting := func(p part.Pins) bool { return p.Has(12) && !p.Has(11) }
		switch {
		case reset:
			n = 0
		case n >= 0 && counting(was) && !counting(is):
			n = (n + 1) % 1000
		}
		if !is.Has(10) {
			held = n
		}
		switch {
		case reset:
			digit = 0
		case digit >= 0 && fell(was, is, 4):
			digit = (digit + 1) % 3
		}
		out := unknown(1, 2, 15, 5, 6, 7, 9, 14)
		if digit >= 0 {
			oneOf(out, digit, false, 2, 1, 15)
			if is.Has(4) { // this digit, or the next already
				selects := []int{2, 1, 15}
				out[selects[digit]], out[selects[(digit+1)%3]] = logic.X, logic.X
			} else if held >= 0 {
				show(out, held/[]int{1, 10, 100}[digit]%10, 5, 6, 7, 9)
			}
		}
		if reset {
			show(out, 0b111, 2, 1, 15)
		}
		switch {
		case n >= 0 && n < 800:
			out[14] = logic.Zero
		case n == 999:
			out[14] = logic.One
		}
		return out
	}
}
