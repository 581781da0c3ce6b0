package library_test

import (
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// The models of shift registers and counters with registers of their own, and of the
// longer shift registers, by pin numbers. From memory of the TTL data books;
// the clears of the 74690 to 74699 from the data sheets of their HC versions.
var _ = addStates74(map[string]modelOf{
	"7494": shifter(4, func(s levelRow, was, is part.Pins, out map[int]logic.Value) {
		set := false
		for enable, pins := range map[int][]int{6: {1, 2, 3, 4}, 15: {16, 14, 13, 11}} {
			set = set || is.Has(enable)
			for i, p := range pins {
				if is.Has(enable) && is.Has(p) {
					s[i] = 1
				}
			}
		}
		switch {
		case is.Has(10):
			s.load(0, 0, 0, 0)
		case !set && rose(was, is, 8):
			s.up(lev(is, 7))
		}
		show(out, s[3], 9)
	}),
	"74178": shifter(4, func(s levelRow, was, is part.Pins, out map[int]logic.Value) {
		shiftOrLoad(s, fell(was, is, 5), is.Has(11), is.Has(9), lev(is, 3), levelsOf(is, 2, 1, 13, 12))
		s.show(out, 4, 6, 8, 10)
	}),
	"74179": shifter(4, func(s levelRow, was, is part.Pins, out map[int]logic.Value) {
		shiftOrLoad(s, fell(was, is, 6), is.Has(13), is.Has(10), lev(is, 4), levelsOf(is, 3, 2, 15, 14))
		if !is.Has(1) {
			s.load(0, 0, 0, 0)
		}
		s.show(out, 5, 7, 9, 11)
		show(out, opposite(s[3]), 12)
	}),
	"74198": shifter(8, func(s levelRow, was, is part.Pins, out map[int]logic.Value) {
		switch mode := number(is, 23, 1); {
		case !is.Has(13):
			s.load(0, 0, 0, 0, 0, 0, 0, 0)
		case !rose(was, is, 11):
		case mode == 3:
			s.read(is, 3, 5, 7, 9, 15, 17, 19, 21)
		case mode == 1:
			s.up(lev(is, 2))
		case mode == 2:
			s.down(lev(is, 22))
		}
		s.show(out, 4, 6, 8, 10, 14, 16, 18, 20)
	}),
	"74199": shifter(8, func(s levelRow, was, is part.Pins, out map[int]logic.Value) {
		high := func(p part.Pins) bool { return p.Has(11) || p.Has(13) }
		switch edge := high(is) && !high(was); {
		case !is.Has(14):
			s.load(0, 0, 0, 0, 0, 0, 0, 0)
		case edge && !is.Has(23):
			s.read(is, 3, 5, 7, 9, 16, 18, 20, 22)
		case edge:
			s.up(jNotK(s[0], lev(is, 2), lev(is, 1)))
		}
		s.show(out, 4, 6, 8, 10, 15, 17, 19, 21)
	}),
	"74322": shifter(8, func(s levelRow, was, is part.Pins, out map[int]logic.Value) {
		ports := []int{4, 16, 5, 15, 6, 14, 7, 13}
		hold, shift, extend := is.Has(1), is.Has(2), !is.Has(18)
		switch {
		case !is.Has(9):
			s.load(0, 0, 0, 0, 0, 0, 0, 0)
		case hold || !rose(was, is, 11):
		case !shift:
			s.read(is, ports...)
		case extend:
			s.up(s[0])
		case is.Has(19):
			s.up(lev(is, 17))
		default:
			s.up(lev(is, 3))
		}
		s.show(out, ports...)
		release(out, is.Has(8) || !hold && !shift, ports...)
		show(out, s[7], 12)
	}),
	"74589": func(*part.Variant) model {
		s, latch := newLevelRow(8), newLevelRow(8)
		return func(was, is part.Pins) map[int]logic.Value {
			if rose(was, is, 12) {
				latch.read(is, 15, 1, 2, 3, 4, 5, 6, 7)
			}
			if !is.Has(13) {
				copy(s, latch)
			} else if rose(was, is, 11) {
				s.up(lev(is, 14))
			}
			out := levels{}
			show(out, s[7], 9)
			release(out, is.Has(10), 9)
			return out
		}
	},
	"74598": func(*part.Variant) model {
		ports := []int{1, 2, 3, 4, 5, 6, 7, 8}
		s, latch := newLevelRow(8), newLevelRow(8)
		return func(was, is part.Pins) map[int]logic.Value {
			if rose(was, is, 15) {
				if latch.read(is, ports...); !is.Has(16) { // what is driven is what is taken in
					copy(latch, s)
				}
			}
			switch {
			case !is.Has(12):
				s.load(0, 0, 0, 0, 0, 0, 0, 0)
			case !is.Has(9):
				copy(s, latch)
			case rose(was, is, 13) && !is.Has(14):
				s.up(lev(is, map[bool]int{false: 18, true: 17}[is.Has(19)]))
			}
			out := levels{}
			s.show(out, ports...)
			release(out, is.Has(16), ports...)
			show(out, s[7], 11)
			return out
		}
	},
	"74596": pullingLow(latched(13, 0), 9), "74599": pullingLow(latched(0, 13), 9),
	"74591": pullingLow(counter590, 9),

	"74593": func(*part.Variant) model {
		ports := []int{8, 7, 6, 5, 4, 3, 2, 1}
		n, taken := -1, -1
		return func(was, is part.Pins) map[int]logic.Value {
			drives := is.Has(19) && !is.Has(18)
			if rose(was, is, 16) && !is.Has(17) {
				if taken = number(is, ports...); drives {
					taken = n
				}
			}
			switch {
			case !is.Has(12):
				n = 0
			case !is.Has(9):
				n = taken
			case rose(was, is, 13) && (is.Has(15) || !is.Has(14)):
				n = following(n, 256)
			}
			out := levels{}
			show(out, n, ports...)
			release(out, !drives, ports...)
			carry(out, 11, n, 256, 255, true, false)
			return out
		}
	},
	"74592": func(*part.Variant) model {
		n, taken := -1, -1
		return func(was, is part.Pins) map[int]logic.Value {
			if rose(was, is, 13) {
				taken = number(is, 7, 6, 5, 4, 3, 2, 1, 15)
			}
			switch {
			case !is.Has(10):
				n = 0
			case !is.Has(14):
				n = taken
			case rose(was, is, 11) && !is.Has(12):
				n = following(n, 256)
			}
			out := levels{}
			carry(out, 9, n, 256, 255, true, false)
			return out
		}
	},

	"74568": upDown569(10), "74569": upDown569(16),
	"74690": counter691(10, false), "74691": counter691(16, false),
	"74692": counter691(10, true), "74693": counter691(16, true),
	"74696": counter697(10, false), "74697": counter697(16, false),
	"74698": counter697(10, true), "74699": counter697(16, true),
})

// shiftOrLoad is one clock of the 74178: shift goes before load, and with both low the levels stay.
func shiftOrLoad(s levelRow, clock, shift, load bool, serial int, parallel []int) {
	switch {
	case clock && shift:
		s.up(serial)
	case clock && load:
		s.load(parallel...)
	}
}

// pullingLow is another part with open-collector outputs but for one pin.
func pullingLow(of modelOf, totemPole int) modelOf {
	return func(v *part.Variant) model {
		m := of(v)
		return func(was, is part.Pins) map[int]logic.Value {
			out := m(was, is)
			for pin, level := range out {
				if level == logic.One && pin != totemPole {
					out[pin] = logic.Z
				}
			}
			return out
		}
	}
}

// stepUpDown is one count up or down within a cycle.
func stepUpDown(n, modulus int, up bool) int {
	if up {
		return following(n, modulus)
	}
	return previous(n, modulus)
}

// lastCount is the count at which a carry shows.
func lastCount(modulus int, up bool) int {
	if up {
		return modulus - 1
	}
	return 0
}

func upDown569(modulus int) modelOf {
	return func(*part.Variant) model {
		n := -1
		return func(was, is part.Pins) map[int]logic.Value {
			edge, up := rose(was, is, 2), is.Has(1)
			switch {
			case !is.Has(8), edge && !is.Has(9):
				n = 0
			case edge && !is.Has(11):
				n = number(is, 6, 5, 4, 3)
			case edge && !is.Has(7) && !is.Has(12):
				n = stepUpDown(n, modulus, up)
			}
			out := levels{}
			show(out, n, 13, 14, 15, 16)
			release(out, is.Has(17), 13, 14, 15, 16)
			carry(out, 19, n, modulus, lastCount(modulus, up), !is.Has(12), false)
			carry(out, 18, n, modulus, lastCount(modulus, up), !is.Has(12) && !is.Has(7) && !is.Has(2), false)
			if out[18] == logic.Zero && !(is.Has(8) && is.Has(9) && is.Has(11)) {
				out[18] = logic.X // makers differ
			}
			return out
		}
	}
}

// withRegister is a counter beside a register that takes its count at the rise of a
// clock; pin 11 high shows the register, pin 12 high releases the outputs.
func withRegister(is part.Pins, n, stored int) levels {
	out := levels{}
	if show(out, n, 15, 16, 17, 18); is.Has(11) {
		show(out, stored, 15, 16, 17, 18)
	}
	release(out, is.Has(12), 15, 16, 17, 18)
	return out
}

func counter691(modulus int, clearsAtClock bool) modelOf {
	return func(*part.Variant) model {
		n, stored := -1, -1
		return func(was, is part.Pins) map[int]logic.Value {
			count, store := rose(was, is, 2), rose(was, is, 9)
			switch {
			case !is.Has(8) && (store || !clearsAtClock):
				stored = 0
			case store:
				stored = n
			}
			switch {
			case !is.Has(1) && (count || !clearsAtClock):
				n = 0
			case count && !is.Has(13):
				n = number(is, 6, 5, 4, 3)
			case count && is.Has(7) && is.Has(14):
				n = following(n, modulus)
			}
			out := withRegister(is, n, stored)
			carry(out, 19, n, modulus, modulus-1, is.Has(14), true)
			return out
		}
	}
}

func counter697(modulus int, clearsAtClock bool) modelOf {
	return func(*part.Variant) model {
		n, stored := -1, -1
		return func(was, is part.Pins) map[int]logic.Value {
			count, up := rose(was, is, 2), is.Has(1)
			if rose(was, is, 9) {
				stored = n
			}
			switch {
			case !is.Has(8) && (count || !clearsAtClock):
				n = 0
			case count && !is.Has(13):
				n = number(is, 6, 5, 4, 3)
			case count && !is.Has(7) && !is.Has(14):
				n = stepUpDown(n, modulus, up)
			}
			out := withRegister(is, n, stored)
			carry(out, 19, n, modulus, lastCount(modulus, up), !is.Has(14), false)
			return out
		}
	}
}
