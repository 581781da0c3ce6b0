package library_test

import (
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// A storage takes levels in side by side: with a clock at its rise, with an
// enable (c) as long as it is high. Pins that a part lacks are 0 or empty. Off are
// output enables, each high to release the outputs.
type storage struct {
	clock, c          int
	pre, clr, keep    int
	clearsAtTheClock  bool
	inverts           bool
	off, in, out, bar []int
}

func (s storage) model(*part.Variant) model {
	q := stages(len(s.in))
	low := func(is part.Pins, pin int) bool { return pin != 0 && !is.Has(pin) }
	fill := func(level int) {
		for i := range q {
			q[i] = level
		}
	}
	return func(was, is part.Pins) map[int]logic.Value {
		edge := s.clock != 0 && rose(was, is, s.clock)
		switch {
		case low(is, s.pre):
			fill(1)
		case low(is, s.clr) && (edge || !s.clearsAtTheClock):
			fill(0)
		case edge && (s.keep == 0 || !is.Has(s.keep)), s.c != 0 && is.Has(s.c):
			for i, pin := range s.in {
				if q[i] = lev(is, pin); s.inverts {
					q[i] = 1 - q[i]
				}
			}
		}
		out := levels{}
		putAll(out, q, s.out...)
		for i, pin := range s.bar {
			put(out, pin, opposite(q[i]))
		}
		for _, pin := range s.off {
			release(out, is.Has(pin), s.out...)
		}
		return out
	}
}

// span lists the pins from one to another, up or down.
func span(from, to int) (pins []int) {
	for step := map[bool]int{true: 1, false: -1}[from < to]; from != to; from += step {
		pins = append(pins, from)
	}
	return append(pins, to)
}

// From memory of the TTL data books.
var _ = addStates74(map[string]modelOf{
	"74821": storage{clock: 13, off: []int{1}, in: span(2, 11), out: span(23, 14)}.model,
	"74822": storage{clock: 13, off: []int{1}, in: span(2, 11), out: span(23, 14), inverts: true}.model,
	"74823": storage{clock: 13, clr: 11, keep: 14, off: []int{1}, in: span(2, 10), out: span(23, 15)}.model,
	"74824": storage{clock: 13, clr: 11, keep: 14, off: []int{1}, in: span(2, 10), out: span(23, 15), inverts: true}.model,
	"74825": storage{clock: 13, clr: 11, keep: 14, off: []int{1, 2, 23}, in: span(3, 10), out: span(22, 15)}.model,
	"74826": storage{clock: 13, clr: 11, keep: 14, off: []int{1, 2, 23}, in: span(3, 10), out: span(22, 15), inverts: true}.model,
	"74841": storage{c: 13, off: []int{1}, in: span(2, 11), out: span(23, 14)}.model,
	"74842": storage{c: 13, off: []int{1}, in: span(2, 11), out: span(23, 14), inverts: true}.model,
	"74843": storage{c: 13, clr: 11, pre: 14, off: []int{1}, in: span(2, 10), out: span(23, 15)}.model,
	"74844": storage{c: 13, clr: 11, pre: 14, off: []int{1}, in: span(2, 10), out: span(23, 15), inverts: true}.model,
	"74845": storage{c: 13, clr: 11, pre: 14, off: []int{1, 2, 23}, in: span(3, 10), out: span(22, 15)}.model,
	"74846": storage{c: 13, clr: 11, pre: 14, off: []int{1, 2, 23}, in: span(3, 10), out: span(22, 15), inverts: true}.model,

	"74363": storage{c: 11, off: []int{1}, in: []int{3, 4, 7, 8, 13, 14, 17, 18}, out: []int{2, 5, 6, 9, 12, 15, 16, 19}}.model,
	"74364": storage{clock: 11, off: []int{1}, in: []int{3, 4, 7, 8, 13, 14, 17, 18}, out: []int{2, 5, 6, 9, 12, 15, 16, 19}}.model,

	"74100": eachOf(
		storage{c: 23, in: []int{2, 3, 22, 21}, out: []int{5, 4, 19, 20}}.model,
		storage{c: 12, in: []int{11, 10, 15, 16}, out: []int{8, 9, 18, 17}}.model),
	"74873": eachOf(
		storage{c: 23, clr: 1, off: []int{2}, in: span(3, 6), out: span(22, 19)}.model,
		storage{c: 14, clr: 13, off: []int{11}, in: span(7, 10), out: span(18, 15)}.model),
	"74874": eachOf(
		storage{clock: 23, clr: 1, off: []int{2}, in: span(3, 6), out: span(22, 19)}.model,
		storage{clock: 14, clr: 13, off: []int{11}, in: span(7, 10), out: span(18, 15)}.model),
	"74878": eachOf(
		storage{clock: 23, clr: 1, clearsAtTheClock: true, off: []int{2}, in: span(3, 6), out: span(22, 19)}.model,
		storage{clock: 14, clr: 13, clearsAtTheClock: true, off: []int{11}, in: span(7, 10), out: span(18, 15)}.model),

	"74398": chosenWords([]int{4, 7, 14, 17}, []int{5, 6, 15, 16}, 11, []int{2, 9, 12, 19}, []int{3, 8, 13, 18}),
	"74399": chosenWords([]int{3, 6, 11, 14}, []int{4, 5, 12, 13}, 9, []int{2, 7, 10, 15}, nil),

	"74170": registerFile(true),
	"74670": registerFile(false),
})

// chosenWords stores word 1 or, with pin 1 high, word 2 at the rise of the clock.
func chosenWords(one, two []int, clock int, outputs, bar []int) modelOf {
	return func(v *part.Variant) model {
		first := storage{clock: clock, in: one, out: outputs, bar: bar}.model(v)
		second := storage{clock: clock, in: two, out: outputs, bar: bar}.model(v)
		var shown levels
		return func(was, is part.Pins) map[int]logic.Value {
			a, b := first(was, is), second(was, is)
			switch {
			case shown == nil:
				shown = a
			case rose(was, is, clock) && is.Has(1):
				shown = b
			case rose(was, is, clock):
				shown = a
			}
			return shown
		}
	}
}

// registerFile is four words of four bits, written through while /GW (12) is low.
func registerFile(openCollector bool) modelOf {
	return func(*part.Variant) model {
		words := [4][]int{stages(4), stages(4), stages(4), stages(4)}
		return func(_, is part.Pins) map[int]logic.Value {
			if !is.Has(12) {
				words[number(is, 13, 14)] = levelsOf(is, 15, 1, 2, 3)
			}
			out := levels{}
			putAll(out, words[number(is, 4, 5)], 10, 9, 7, 6)
			release(out, is.Has(11), 10, 9, 7, 6)
			for pin, level := range out {
				if openCollector && level == logic.One {
					out[pin] = logic.Z
				}
			}
			return out
		}
	}
}
