package library_test

import (
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// TTL with house numbers of its own, by pin numbers, from memory of the makers' data
// books; the pins of the 9301 agree with an open simulation model, read.
var _ = addTruths74(map[string]truth{
	"9301": oneOfTenLow,
	"9302": func(is part.Pins) levels { return sinks(oneOfTenLow(is)) },
	"9312": func(is part.Pins) levels {
		out := levels{}
		put(out, 15, lev(is, []int{1, 2, 3, 4, 5, 6, 7, 9}[number(is, 13, 12, 11)]))
		if is.Has(10) {
			out[15] = logic.Zero
		}
		out[14] = out[15].Not()
		return out
	},
	"9602": func(is part.Pins) levels {
		return cleared(is, cleared(is, levels{}, 3, 6, 7), 13, 10, 9)
	},
})

// oneOfTenLow has no output low for numbers above nine.
func oneOfTenLow(is part.Pins) levels {
	out := levels{}
	oneOf(out, number(is, 2, 1, 14, 15), false, 13, 12, 11, 10, 9, 3, 4, 5, 6, 7)
	return out
}

var _ = addStates74(map[string]modelOf{
	"9314":     latch9314,
	"9328":     registers9328,
	"25LS2518": standardAndThreeState,
	"2918":     standardAndThreeState,
	// trial bits from the highest down, then its complement, the end, and the late data, or 0
	"2502":  approximation([]int{14, 13, 12, 11, 6, 5, 4, 3}, 15, 2, 1, 7, 10, 9),
	"2503":  approximation([]int{14, 13, 12, 11, 6, 5, 4, 3}, 15, 2, 0, 7, 10, 9),
	"2504":  approximation([]int{21, 20, 19, 18, 17, 16, 9, 8, 7, 6, 5, 4}, 23, 3, 2, 11, 14, 13),
	"74905": approximation([]int{21, 20, 19, 18, 17, 16, 9, 8, 7, 6, 5, 4}, 23, 3, 2, 11, 14, 13),
})

// latch9314: by each bit's own set input, low to follow the data; with it high, a low
// at the data input resets and all else holds. Pin 1 low enables, pin 9 low clears.
func latch9314(*part.Variant) model {
	q := stages(4)
	return func(_, is part.Pins) map[int]logic.Value {
		for i, p := range [][2]int{{2, 3}, {14, 4}, {5, 6}, {11, 7}} {
			follows, d := !is.Has(p[0]), lev(is, p[1])
			switch {
			case !is.Has(9):
				q[i] = 0
			case is.Has(1):
			case follows || d == 0:
				q[i] = d
			}
		}
		out := levels{}
		putAll(out, q, 15, 13, 12, 10)
		return out
	}
}

// registers9328 are two of eight stages. The clock of each is high where its own or the
// common one, pin 9, is.
func registers9328(*part.Variant) model {
	rows := []levelRow{newLevelRow(8), newLevelRow(8)}
	return func(was, is part.Pins) map[int]logic.Value {
		out := levels{}
		for i, p := range [][6]int{{7, 4, 6, 5, 3, 2}, {10, 13, 11, 12, 14, 15}} {
			clock := func(at part.Pins) bool { return at.Has(p[0]) || at.Has(9) }
			switch {
			case !is.Has(1):
				rows[i].load(0, 0, 0, 0, 0, 0, 0, 0)
			case clock(is) && !clock(was):
				in := p[2]
				if is.Has(p[1]) {
					in = p[3]
				}
				rows[i].up(lev(is, in))
			}
			put(out, p[4], rows[i][7])
			put(out, p[5], opposite(rows[i][7]))
		}
		return out
	}
}

// approximation tries one bit at each clock after a start: low while it is tried, then
// what the comparator says. The bits that are still to come are high. Sources: Am2502/3/4,
// DM2502/3/4 and DM74LS502 data sheets, read; the 74905 from memory.
func approximation(bits []int, complement, done, late, data, start, clock int) modelOf {
	return func(*part.Variant) model {
		word, tried, last := stages(len(bits)), -1, -1
		return func(was, is part.Pins) map[int]logic.Value {
			if rose(was, is, clock) {
				last = lev(is, data)
				switch {
				case !is.Has(start):
					tried = 0
					for i := range word {
						word[i] = min(i, 1)
					}
				case tried >= 0 && tried < len(bits):
					word[tried] = last
					if tried++; tried < len(bits) {
						word[tried] = 0
					}
				}
			}
			out := levels{}
			putAll(out, word, bits...)
			put(out, complement, opposite(word[0]))
			put(out, done, -1)
			if tried >= 0 {
				out[done] = logic.FromBool(tried < len(bits))
			}
			if late != 0 {
				put(out, late, last)
			}
			return out
		}
	}
}

// standardAndThreeState takes four bits in at the rise of pin 9, and shows each twice.
func standardAndThreeState(*part.Variant) model {
	q := stages(4)
	return func(was, is part.Pins) map[int]logic.Value {
		if rose(was, is, 9) {
			q = levelsOf(is, 1, 4, 12, 15)
		}
		out := levels{}
		putAll(out, q, 2, 5, 11, 14)
		putAll(out, q, 3, 6, 10, 13)
		release(out, is.Has(7), 3, 6, 10, 13)
		return out
	}
}
