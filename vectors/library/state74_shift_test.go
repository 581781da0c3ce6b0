package library_test

import (
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// The models of the 7400 series' shift registers, by pin numbers: a slice of
// levels, 0, 1 or -1 while unknown, the first stage first. From memory of the TTL
// data books.
var _ = addStates74(map[string]modelOf{
	"74164": shifter(8, func(s levelRow, was, is part.Pins, out map[int]logic.Value) {
		if !is.Has(9) {
			s.load(0, 0, 0, 0, 0, 0, 0, 0)
		} else if rose(was, is, 8) {
			s.up(lev(is, 1) & lev(is, 2))
		}
		s.show(out, 3, 4, 5, 6, 10, 11, 12, 13)
	}),
	"74165": shifter(8, func(s levelRow, was, is part.Pins, out map[int]logic.Value) {
		clocks := func(p part.Pins) bool { return p.Has(2) || p.Has(15) }
		if !is.Has(1) {
			s.read(is, 11, 12, 13, 14, 3, 4, 5, 6)
		} else if clocks(is) && !clocks(was) {
			s.up(lev(is, 10))
		}
		show(out, s[7], 9)
		show(out, opposite(s[7]), 7)
	}),
	"74166": shifter(8, func(s levelRow, was, is part.Pins, out map[int]logic.Value) {
		clocks := func(p part.Pins) bool { return p.Has(7) || p.Has(6) }
		switch edge := clocks(is) && !clocks(was); {
		case !is.Has(9):
			s.load(0, 0, 0, 0, 0, 0, 0, 0)
		case edge && is.Has(15):
			s.up(lev(is, 1))
		case edge:
			s.read(is, 2, 3, 4, 5, 10, 11, 12, 14)
		}
		show(out, s[7], 13)
	}),
	"7491": shifter(8, func(s levelRow, was, is part.Pins, out map[int]logic.Value) {
		if rose(was, is, 9) {
			s.up(lev(is, 11) & lev(is, 12))
		}
		show(out, s[7], 13)
		show(out, opposite(s[7]), 14)
	}),
	"7495": shifter(4, func(s levelRow, was, is part.Pins, out map[int]logic.Value) {
		if is.Has(6) && was.Has(6) && fell(was, is, 8) {
			s.read(is, 2, 3, 4, 5)
		} else if !is.Has(6) && !was.Has(6) && fell(was, is, 9) {
			s.up(lev(is, 1))
		}
		s.show(out, 13, 12, 11, 10)
	}),
	"7496": shifter(5, func(s levelRow, was, is part.Pins, out map[int]logic.Value) {
		switch {
		case !is.Has(16):
			s.load(0, 0, 0, 0, 0)
		case is.Has(8):
			for i, pin := range []int{2, 3, 4, 6, 7} {
				if is.Has(pin) {
					s[i] = 1
				}
			}
		case rose(was, is, 1):
			s.up(lev(is, 9))
		}
		s.show(out, 15, 14, 13, 11, 10)
	}),
	"74194": shifter(4, func(s levelRow, was, is part.Pins, out map[int]logic.Value) {
		switch mode := number(is, 10, 9); {
		case !is.Has(1):
			s.load(0, 0, 0, 0)
		case !rose(was, is, 11):
		case mode == 3:
			s.read(is, 3, 4, 5, 6)
		case mode == 1:
			s.up(lev(is, 2))
		case mode == 2:
			s.down(lev(is, 7))
		}
		s.show(out, 15, 14, 13, 12)
	}),
	"74195": shifter(4, func(s levelRow, was, is part.Pins, out map[int]logic.Value) {
		switch {
		case !is.Has(1):
			s.load(0, 0, 0, 0)
		case !rose(was, is, 10):
		case !is.Has(9):
			s.read(is, 4, 5, 6, 7)
		case is.Has(2) == is.Has(3): // J and /K alike are D
			s.up(lev(is, 2))
		case is.Has(2): // J high, /K low toggles
			s.up(opposite(s[0]))
		default: // the first stage stays
			s.up(s[0])
		}
		s.show(out, 15, 14, 13, 12)
		show(out, opposite(s[3]), 11)
	}),
	"74395": shifter(4, func(s levelRow, was, is part.Pins, out map[int]logic.Value) {
		switch {
		case !is.Has(1):
			s.load(0, 0, 0, 0)
		case fell(was, is, 10) && is.Has(7):
			s.read(is, 3, 4, 5, 6)
		case fell(was, is, 10):
			s.up(lev(is, 2))
		}
		s.show(out, 15, 14, 13, 12)
		show(out, s[3], 11)
		release(out, is.Has(9), 15, 14, 13, 12)
	}),
	"74295": shifter(4, func(s levelRow, was, is part.Pins, out map[int]logic.Value) {
		if fell(was, is, 9) {
			if is.Has(6) {
				s.read(is, 2, 3, 4, 5)
			} else {
				s.up(lev(is, 1))
			}
		}
		s.show(out, 13, 12, 11, 10)
		release(out, !is.Has(8), 13, 12, 11, 10)
	}),
	"74299": universal8(false), "74323": universal8(true),
	"74595": latched(13, 0), "74594": latched(0, 13),
	"74597": func(*part.Variant) model {
		s, latch := newLevelRow(8), newLevelRow(8)
		return func(was, is part.Pins) map[int]logic.Value {
			switch {
			case !is.Has(10):
				s.load(0, 0, 0, 0, 0, 0, 0, 0)
			case is.Has(13) && rose(was, is, 11):
				s.up(lev(is, 14))
			}
			if rose(was, is, 12) {
				latch.read(is, 15, 1, 2, 3, 4, 5, 6, 7)
			}
			if !is.Has(13) && is.Has(10) {
				copy(s, latch)
			}
			out := map[int]logic.Value{}
			show(out, s[7], 9)
			return out
		}
	},
})

// levelRow is the stages of a shift register.
type levelRow []int

func newLevelRow(n int) levelRow {
	s := make(levelRow, n)
	for i := range s {
		s[i] = -1
	}
	return s
}

func (s levelRow) up(in int) {
	copy(s[1:], s[:len(s)-1])
	s[0] = in
}

func (s levelRow) down(in int) {
	copy(s, s[1:])
	s[len(s)-1] = in
}

func (s levelRow) load(levels ...int) { copy(s, levels) }

func (s levelRow) read(is part.Pins, pins ...int) {
	for i, pin := range pins {
		s[i] = lev(is, pin)
	}
}

func (s levelRow) show(out map[int]logic.Value, pins ...int) {
	for i, pin := range pins {
		show(out, s[i], pin)
	}
}

func opposite(level int) int {
	if level < 0 {
		return -1
	}
	return 1 - level
}

func shifter(n int, step func(s levelRow, was, is part.Pins, out map[int]logic.Value)) modelOf {
	return func(*part.Variant) model {
		s := newLevelRow(n)
		return func(was, is part.Pins) map[int]logic.Value {
			out := map[int]logic.Value{}
			step(s, was, is, out)
			return out
		}
	}
}

// universal8 is the 74299, and the 74323, which clears at the clock.
func universal8(clearsAtClock bool) modelOf {
	ports := []int{7, 13, 6, 14, 5, 15, 4, 16}
	return func(*part.Variant) model {
		s := newLevelRow(8)
		return func(was, is part.Pins) map[int]logic.Value {
			edge := rose(was, is, 12)
			switch mode := number(is, 19, 1); {
			case !is.Has(9) && (edge || !clearsAtClock):
				s.load(0, 0, 0, 0, 0, 0, 0, 0)
			case !edge:
			case mode == 3:
				s.read(is, ports...)
			case mode == 1:
				s.up(lev(is, 11))
			case mode == 2:
				s.down(lev(is, 18))
			}
			out := map[int]logic.Value{}
			show(out, s[0], 8)
			show(out, s[7], 17)
			s.show(out, ports...)
			release(out, is.Has(2) || is.Has(3) || is.Has(1) && is.Has(19), ports...)
			return out
		}
	}
}

// latched is a shift register with output latches: the 74595 has an enable of its
// outputs at pin 13, the 74594 a clear of its latches.
func latched(enable, clear int) modelOf {
	return func(*part.Variant) model {
		s, latch := newLevelRow(8), newLevelRow(8)
		return func(was, is part.Pins) map[int]logic.Value {
			switch {
			case clear != 0 && !is.Has(clear):
				latch.load(0, 0, 0, 0, 0, 0, 0, 0)
			case rose(was, is, 12):
				copy(latch, s)
			}
			if !is.Has(10) {
				s.load(0, 0, 0, 0, 0, 0, 0, 0)
			} else if rose(was, is, 11) {
				s.up(lev(is, 14))
			}
			out := map[int]logic.Value{}
			pins := []int{15, 1, 2, 3, 4, 5, 6, 7}
			latch.show(out, pins...)
			release(out, enable != 0 && is.Has(enable), pins...)
			show(out, s[7], 9)
			return out
		}
	}
}
