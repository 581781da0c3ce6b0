package library_test

import "chipassay/vectors/part"

// DTL gates: NAND gates on the pins of the 930 series, a high released where there is no
// pull-up. Source: from memory of the DTL data books' logic diagrams.
var _ = addSheets(map[string]sheet{
	"930 932 961": {6: nand(1, 2, 4, 5), 8: nand(9, 10, 12, 13)},
	"944":         {6: oc(nand(1, 2, 4, 5)), 8: oc(nand(9, 10, 12, 13))},
	"936 937":     {2: invert(1), 4: invert(3), 6: invert(5), 8: invert(9), 10: invert(11), 12: invert(13)},
	"946 949 957": {3: nand(1, 2), 6: nand(4, 5), 8: nand(9, 10), 11: nand(12, 13)},
	"958":         {3: oc(nand(1, 2)), 6: oc(nand(4, 5)), 8: oc(nand(9, 10)), 11: oc(nand(12, 13))},
	"962 963":     {12: nand(1, 2, 13), 6: nand(3, 4, 5), 8: nand(9, 10, 11)},

	// Darlington drivers. Source: ULN2803 data sheet, Motorola, rev. 1, pin connections, read.
	"2003 2004 75468 75469": {
		16: oc(invert(1)), 15: oc(invert(2)), 14: oc(invert(3)), 13: oc(invert(4)),
		12: oc(invert(5)), 11: oc(invert(6)), 10: oc(invert(7)),
	},
	"2803 ULN2804": {
		18: oc(invert(1)), 17: oc(invert(2)), 16: oc(invert(3)), 15: oc(invert(4)),
		14: oc(invert(5)), 13: oc(invert(6)), 12: oc(invert(7)), 11: oc(invert(8)),
	},

	// The gates of the peripheral drivers with transistors apart: from memory.
	"75450 75460 75470": {3: nand(1, 2), 12: nand(1, 13)},

	// Receivers of EIA-232. Source: MC1489 data sheet, onsemi, rev. 8, pin connections, read.
	"1489": {3: invert(1), 6: invert(4), 8: invert(10), 11: invert(13)},
})

var _ = addTruths74(map[string]truth{
	// Drivers of balanced lines. Source: function table of the SN75172, SLLS038B, read.
	"26LS31": func(is part.Pins) levels {
		on := is.Has(4) || !is.Has(12)
		return balanced(is, [4]bool{on, on, on, on})
	},
	// Source: function table of the MC75174B, onsemi, read.
	"3487": func(is part.Pins) levels { return balanced(is, [4]bool{is.Has(4), is.Has(4), is.Has(12), is.Has(12)}) },
	// Source: SN75158 data sheet, SLLS085B, logic diagram, read.
	"75158": func(is part.Pins) levels {
		out := levels{}
		both(out, lev(is, 3), 2, 1)
		both(out, lev(is, 5), 6, 7)
		return out
	},
	// From memory.
	"9638": func(is part.Pins) levels {
		out := levels{}
		both(out, lev(is, 2), 8, 7)
		both(out, lev(is, 3), 6, 5)
		return out
	},
	// Source: SN75159 data sheet, SLLS088B, logic diagram, read.
	"75159": func(is part.Pins) levels {
		out := levels{}
		both(out, lev(is, 4)*lev(is, 5), 3, 2)
		release(out, !is.Has(6), 3, 2)
		both(out, lev(is, 10)*lev(is, 11), 12, 13)
		release(out, !is.Has(9), 12, 13)
		return out
	},
	// Source: truth table of the DS75113, TL/F/5785, read.
	"75113": func(is part.Pins) levels {
		out := levels{}
		apart(out, lev(is, 5)*lev(is, 6), lev(is, 7)*lev(is, 9), 3, 4, 2, 1)
		apart(out, lev(is, 11), lev(is, 10)*lev(is, 9), 13, 12, 14, 15)
		return out
	},
	// From memory.
	"75114": func(is part.Pins) levels {
		out := levels{}
		apart(out, lev(is, 5)*lev(is, 6)*lev(is, 7), 1, 3, 4, 2, 1)
		apart(out, lev(is, 9)*lev(is, 10)*lev(is, 11), 1, 13, 12, 14, 15)
		return out
	},
	// From memory.
	"75183": func(is part.Pins) levels {
		out := levels{}
		both(out, lev(is, 1)*lev(is, 2)*lev(is, 3)*lev(is, 4), 5, 6)
		both(out, lev(is, 13)*lev(is, 12)*lev(is, 11)*lev(is, 10), 9, 8)
		return out
	},
	// Source: function table of the SN75ALS123, SLLS031B, read: high for A to D or E and F
	// high, low for all other combinations, which an emitter follower releases.
	"75121 75123": func(is part.Pins) levels {
		out := levels{}
		for y, pins := range map[int][]int{7: {1, 2, 3, 4, 5, 6}, 9: {10, 11, 12, 13, 14, 15}} {
			high := number(is, pins[:4]...) == 15 || number(is, pins[4:]...) == 3
			put(out, y, 1)
			release(out, !high, y)
		}
		return out
	},

	// Receivers of balanced lines. Source: function table of the HD26LS32A, read.
	"26LS32 26LS33 75173": func(is part.Pins) levels {
		on := is.Has(4) || !is.Has(12)
		return compares(is, [4]bool{on, on, on, on})
	},
	// Source: function table of the SN75175, SLLS145C, read.
	"3486 75175": func(is part.Pins) levels { return compares(is, [4]bool{is.Has(4), is.Has(4), is.Has(12), is.Has(12)}) },
	// From memory.
	"9637": func(is part.Pins) levels {
		out := levels{}
		put(out, 2, greater(is, 8, 7))
		put(out, 3, greater(is, 6, 5))
		return out
	},
	// Source: function table of the SN75124, SLLS058B, rows from the top, read.
	"75122 75124": func(is part.Pins) levels {
		out := levels{}
		for _, r := range [][5]int{{1, 2, 14, 15, 13}, {5, 6, 3, 4, 7}, {12, 0, 10, 11, 9}} {
			a, b, receive, s := is.Has(r[0]), r[1] == 0 || is.Has(r[1]), is.Has(r[2]), is.Has(r[3])
			y := 1
			if a && b || !receive && s {
				y = 0
			}
			put(out, r[4], y)
		}
		return out
	},

	// From memory: with the strobe low a high at D draws the bus low; R is the bus inverted.
	"75138": func(is part.Pins) levels {
		out := levels{}
		for _, c := range [][3]int{{4, 2, 3}, {5, 7, 6}, {11, 9, 10}, {13, 15, 14}} { // D, B, R
			put(out, c[1], 0)
			release(out, is.Has(12) || !is.Has(c[0]), c[1])
			put(out, c[2], 1-lev(is, c[1]))
		}
		return out
	},
	// Source: function tables of the SN75ALS165, SLLS023B, with PE high: read.
	"75160": func(is part.Pins) levels {
		out := levels{}
		for i := range 8 {
			b, d := 2+i, 19-i
			put(out, b, lev(is, d))
			release(out, !is.Has(1), b)
			put(out, d, lev(is, b))
			release(out, is.Has(1), d)
		}
		return out
	},
})

// balanced is four drivers on the pins of the 26LS31, each enabled or not.
func balanced(is part.Pins, on [4]bool) levels {
	out := levels{}
	for i, d := range [][3]int{{1, 2, 3}, {7, 6, 5}, {9, 10, 11}, {15, 14, 13}} {
		both(out, lev(is, d[0]), d[1], d[2])
		release(out, !on[i], d[1], d[2])
	}
	return out
}

// apart is a driver with the transistors of its outputs at pins of their own: those that
// sink, of Y and of Z, and those that pull up. All are off while it is not enabled.
func apart(out levels, y, enabled, ySink, yPull, zSink, zPull int) {
	for _, o := range [][3]int{{y, ySink, yPull}, {1 - y, zSink, zPull}} {
		put(out, o[1], 0)
		release(out, enabled == 0 || o[0] == 1, o[1])
		put(out, o[2], 1)
		release(out, enabled == 0 || o[0] == 0, o[2])
	}
}

// compares is four receivers on the pins of the 26LS32, each enabled or not.
func compares(is part.Pins, on [4]bool) levels {
	out := levels{}
	for i, r := range [][3]int{{2, 1, 3}, {6, 7, 5}, {10, 9, 11}, {14, 15, 13}} {
		put(out, r[2], greater(is, r[0], r[1]))
		release(out, !on[i], r[2])
	}
	return out
}

// greater is 1 where the first of two inputs is the higher, 0 where the second is, and
// unknown where neither is.
func greater(is part.Pins, a, b int) int {
	if is.Has(a) == is.Has(b) {
		return -1
	}
	return lev(is, a)
}
