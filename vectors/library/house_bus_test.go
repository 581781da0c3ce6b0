package library_test

import (
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// Bus parts of the first microcomputers, by pin numbers. Sources: 8T26 and 8T28: Am8T26A
// and Am8T28 data sheet, read; 26S10: DS26S10 data sheet, May 1999, read; 8838: DS8838
// data sheet, May 1999, read; all else from memory of the makers' data books.
var _ = addTruths74(map[string]truth{
	"8T26": func(is part.Pins) levels { return busOfDriversAndReceivers(is, 1) },
	"8T28": func(is part.Pins) levels { return busOfDriversAndReceivers(is, 0) },

	"8216": func(is part.Pins) levels { return parallelDriver(is, 0) },
	"8226": func(is part.Pins) levels { return parallelDriver(is, 1) },

	"8286": func(is part.Pins) levels { return sentWhileHigh(is, 0) },
	"8287": func(is part.Pins) levels { return sentWhileHigh(is, 1) },

	// input, bus and output of each of the four, and whether the drivers are off
	"8641 8838": func(is part.Pins) levels {
		return pulledBus(is, is.Has(7) || is.Has(9), true, [][3]int{{14, 15, 13}, {11, 12, 10}, {2, 1, 3}, {5, 4, 6}})
	},
	"26S10": func(is part.Pins) levels {
		return pulledBus(is, is.Has(12), true, [][3]int{{4, 2, 3}, {5, 7, 6}, {11, 9, 10}, {13, 15, 14}})
	},
	"26S11": func(is part.Pins) levels {
		return pulledBus(is, is.Has(12), false, [][3]int{{4, 2, 3}, {5, 7, 6}, {11, 9, 10}, {13, 15, 14}})
	},
})

// busOfDriversAndReceivers: a high pin 15 puts the data on the bus, a low pin 1 gives
// what is on the bus at the outputs. What comes of a bus that is held against the chip is unknown.
func busOfDriversAndReceivers(is part.Pins, invert int) levels {
	out := levels{}
	for _, p := range [][3]int{{4, 3, 2}, {7, 6, 5}, {9, 10, 11}, {12, 13, 14}} {
		data, bus, received := p[0], p[1], p[2]
		sent := lev(is, data) ^ invert
		put(out, bus, sent)
		release(out, !is.Has(15), bus)
		put(out, received, lev(is, bus)^invert)
		if is.Has(15) && sent != lev(is, bus) {
			out[received] = logic.X
		}
		release(out, is.Has(1), received)
	}
	return out
}

// parallelDriver, selected by a low pin 1, sends with pin 15 low and receives with it high.
func parallelDriver(is part.Pins, invert int) levels {
	out := levels{}
	for _, p := range [][3]int{{4, 3, 2}, {7, 6, 5}, {9, 10, 11}, {12, 13, 14}} {
		put(out, p[1], lev(is, p[0])^invert)
		put(out, p[2], lev(is, p[1])^invert)
		release(out, is.Has(1) || is.Has(15), p[1])
		release(out, is.Has(1) || !is.Has(15), p[2])
	}
	return out
}

// sentWhileHigh is an octal one, enabled by a low pin 9: from pins 1 to 8 to pins 19 to
// 12 while pin 11 is high, and back while it is low.
func sentWhileHigh(is part.Pins, invert int) levels {
	out := levels{}
	for i := range 8 {
		a, b := 1+i, 19-i
		put(out, a, lev(is, b)^invert)
		put(out, b, lev(is, a)^invert)
		release(out, is.Has(9) || is.Has(11), a)
		release(out, is.Has(9) || !is.Has(11), b)
	}
	return out
}

// pulledBus has open-collector drivers and inverting receivers. A bus that is held up
// against its driver is unknown.
func pulledBus(is part.Pins, off, pullsWhenHigh bool, channels [][3]int) levels {
	out := levels{}
	for _, c := range channels {
		in, bus, received := c[0], c[1], c[2]
		put(out, received, 1-lev(is, bus))
		out[bus] = logic.Z
		if !off && is.Has(in) == pullsWhenHigh {
			out[bus] = logic.Zero
			if is.Has(bus) {
				out[received] = logic.X
			}
		}
	}
	return out
}

// Source: 8212: data book, from memory; 8282 and 8283 likewise.
var _ = addStates74(map[string]modelOf{
	"8212": port8212,
	"8282": storage{c: 11, in: span(1, 8), out: span(19, 12), off: []int{9}}.model,
	"8283": storage{c: 11, in: span(1, 8), out: span(19, 12), off: []int{9}, inverts: true}.model,
})

// port8212 lets data in by its strobe and puts them out while it is selected, or with
// pin 2 high lets them in while it is selected and always puts them out. Service is
// requested from the fall of the strobe to the end of the next selection.
func port8212(*part.Variant) model {
	q, request := stages(8), -1
	return func(was, is part.Pins) map[int]logic.Value {
		selected := !is.Has(1) && is.Has(13)
		letsIn := is.Has(11)
		if is.Has(2) {
			letsIn = selected
		}
		switch {
		case letsIn:
			q = levelsOf(is, 3, 5, 7, 9, 16, 18, 20, 22)
		case !is.Has(14):
			q = make([]int, 8)
		}
		switch {
		case !is.Has(14) || selected:
			request = 0
		case fell(was, is, 11):
			request = 1
		}
		out := levels{}
		pins := []int{4, 6, 8, 10, 15, 17, 19, 21}
		putAll(out, q, pins...)
		release(out, !is.Has(2) && !selected, pins...)
		put(out, 23, opposite(request))
		if selected {
			out[23] = logic.Zero
		}
		return out
	}
}
