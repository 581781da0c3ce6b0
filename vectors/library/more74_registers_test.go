package library_test

import (
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// More registers, latches and counters of the 7400 series, by pin numbers. From memory of the
// TTL data books, but where a line names its source.
var _ = addStates74(map[string]modelOf{
	// Source: SDAS061C, 1995, read: a low preset makes the inverted outputs low
	"74876": eachOf(
		storage{clock: 23, pre: 1, off: []int{2}, in: span(3, 6), bar: span(22, 19)}.modelOfBars,
		storage{clock: 14, pre: 13, off: []int{11}, in: span(7, 10), bar: span(18, 15)}.modelOfBars),
	// Source: SDAS079A, 1986, read
	"74880": eachOf(
		storage{c: 23, pre: 1, off: []int{2}, in: span(3, 6), bar: span(22, 19)}.modelOfBars,
		storage{c: 14, pre: 13, off: []int{11}, in: span(7, 10), bar: span(18, 15)}.modelOfBars),
	"74879": eachOf(
		storage{clock: 23, clr: 1, clearsAtTheClock: true, off: []int{2}, in: span(3, 6), bar: span(22, 19)}.modelOfBars,
		storage{clock: 14, clr: 13, clearsAtTheClock: true, off: []int{11}, in: span(7, 10), bar: span(18, 15)}.modelOfBars),
	// Source: SDAS165B and SDAS065B, 1995, read
	"74575": storage{clock: 14, clr: 1, clearsAtTheClock: true, off: []int{2}, in: span(3, 10), out: span(22, 15)}.model,
	"74577": storage{clock: 14, clr: 1, clearsAtTheClock: true, off: []int{2}, in: span(3, 10), bar: span(22, 15)}.modelOfBars,

	// Source: SDAS027B, SDAS028B and SDAS237A, 1995, read
	"74990": readBack(11, 1, 0, 0, span(2, 9), span(19, 12)),
	"74992": readBack(13, 1, 11, 14, span(2, 10), span(23, 15)),
	"74994": readBack(13, 1, 0, 0, span(2, 11), span(23, 14)),

	// Source: SDAS098B, 1995, read, but for the clear
	"74996": readBack996,

	// Source: SDAS003C, 1995, and SDAS012C, 1995, read; the latch from memory
	"74680": latchedAnswer(19, 18, func(is part.Pins) bool {
		return number(is, 13, 12, 11, 9, 8, 7, 6, 5, 4, 3, 2, 1) == addressOf(number(is, 17, 16, 15, 14))
	}),
	"74678": latchedAnswer(23, 22, func(is part.Pins) bool {
		lines := append(span(1, 11), span(13, 17)...)
		for i, pin := range lines {
			if is.Has(pin) != (i >= number(is, 21, 20, 19, 18)) {
				return false
			}
		}
		return true
	}),

	// Source: 74F604 product specification, 1990, read
	"74604": chosen604(false), "74606": chosen604(false), "74605": chosen604(true), "74607": chosen604(true),

	"7450728": eachOf(synchronizer(1, 2, 3, 4, 5, 6), synchronizer(13, 12, 11, 10, 9, 8)),

	// Source: SDAS225A, 1995, read, but for the decade
	"74561": counter561(16), "74560": counter561(10),
})

// modelOfBars is a storage that shows the complements of what it stores, and releases them.
func (s storage) modelOfBars(v *part.Variant) model {
	s.out = nil
	m := s.model(v)
	return func(was, is part.Pins) map[int]logic.Value {
		out := m(was, is)
		for _, pin := range s.off {
			release(out, is.Has(pin), s.bar...)
		}
		return out
	}
}

// readBack is a latch, open while the pin le is high, that drives its data pins while the pin back
// is low. The pins clr (active low) and off (high releases the outputs) are 0 where a part has none.
func readBack(le, back, clr, off int, d, q []int) modelOf {
	return func(*part.Variant) model {
		kept := stages(len(d))
		return func(_, is part.Pins) map[int]logic.Value {
			for i, pin := range d {
				switch {
				case clr != 0 && !is.Has(clr):
					kept[i] = 0
				case is.Has(le) && is.Has(back):
					kept[i] = lev(is, pin)
				}
			}
			out := levels{}
			putAll(out, kept, q...)
			putAll(out, kept, d...)
			release(out, is.Has(back), d...)
			release(out, off != 0 && is.Has(off), q...)
			return out
		}
	}
}

// readBack996: /EN 9, /RD 10, CLK 11, /CLR 13, T with /C 14, /OE 15, D at 1 to 8, Q at 23 to 16.
func readBack996(*part.Variant) model {
	d, q := span(1, 8), span(23, 16)
	kept := stages(8)
	return func(was, is part.Pins) map[int]logic.Value {
		reads := !is.Has(9) && !is.Has(10)
		switch {
		case !is.Has(13):
			kept = []int{0, 0, 0, 0, 0, 0, 0, 0}
		case rose(was, is, 11) && !is.Has(9) && !reads:
			kept = levelsOf(is, d...)
		}
		out := levels{}
		putAll(out, kept, d...)
		release(out, !reads, d...)
		for i, pin := range q {
			if is.Has(14) {
				put(out, pin, kept[i])
			} else {
				put(out, pin, opposite(kept[i]))
			}
		}
		release(out, is.Has(15), q...)
		return out
	}
}

// latchedAnswer is low at pin y for a hit, and stays while the pin c is low.
func latchedAnswer(c, y int, hit func(part.Pins) bool) modelOf {
	return func(*part.Variant) model {
		answer := -1
		return func(_, is part.Pins) map[int]logic.Value {
			if is.Has(c) {
				answer = 1
				if hit(is) {
					answer = 0
				}
			}
			out := levels{}
			show(out, answer, y)
			return out
		}
	}
}

// chosen604 takes two words in until the clock (1) rises, and shows A while pin 2 is high, else B,
// as long as the clock is high.
func chosen604(pulls bool) modelOf {
	inA, inB := []int{3, 5, 7, 9, 27, 25, 23, 21}, []int{4, 6, 8, 10, 26, 24, 22, 20}
	shown := []int{15, 13, 12, 11, 16, 17, 18, 19}
	return func(*part.Variant) model {
		a, b := stages(8), stages(8)
		return func(was, is part.Pins) map[int]logic.Value {
			if !is.Has(1) {
				a, b = levelsOf(is, inA...), levelsOf(is, inB...)
			}
			out := levels{}
			if is.Has(2) {
				putAll(out, a, shown...)
			} else {
				putAll(out, b, shown...)
			}
			for _, pin := range shown {
				release(out, !is.Has(1) || pulls && out[pin] == logic.One, pin)
			}
			return out
		}
	}
}

// synchronizer is two D flip-flops in a row; preset and clear act on both.
func synchronizer(clr, d, clock, pre, q, bar int) modelOf {
	return func(*part.Variant) model {
		first, second := -1, -1
		return func(was, is part.Pins) map[int]logic.Value {
			set, reset := !is.Has(pre), !is.Has(clr)
			switch {
			case set:
				first, second = 1, 1
			case reset:
				first, second = 0, 0
			case rose(was, is, clock):
				first, second = lev(is, d), first
			}
			out := levels{}
			put(out, q, second)
			put(out, bar, opposite(second))
			if set && reset {
				out[q], out[bar] = logic.One, logic.One
			}
			return out
		}
	}
}

// counter561: /ACLR 8, /ALOAD 1, CLK 2, /SCLR 9, /SLOAD 11, ENP 7, ENT 12, /OE 17.
func counter561(modulus int) modelOf {
	return func(*part.Variant) model {
		n := -1
		return func(was, is part.Pins) map[int]logic.Value {
			edge := rose(was, is, 2)
			switch {
			case !is.Has(8):
				n = 0
			case !is.Has(1):
				n = number(is, 6, 5, 4, 3)
			case edge && !is.Has(9):
				n = 0
			case edge && !is.Has(11):
				n = number(is, 6, 5, 4, 3)
			case edge && is.Has(7) && is.Has(12):
				n = following(n, modulus)
			}
			out := levels{}
			show(out, n, 13, 14, 15, 16)
			release(out, is.Has(17), 13, 14, 15, 16)
			// what a decade shows outside its states the sheet does not say
			full := n == modulus-1
			out[19], out[18] = logic.FromBool(full && is.Has(12)), logic.FromBool(full && is.Has(12) && is.Has(7) && !is.Has(2))
			if n < 0 || n >= modulus || full && !(is.Has(1) && is.Has(8) && is.Has(9) && is.Has(11)) {
				out[18] = logic.X
			}
			if n < 0 || n >= modulus {
				out[19] = logic.X
			}
			return out
		}
	}
}
