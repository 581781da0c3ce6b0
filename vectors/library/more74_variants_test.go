package library_test

import (
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// Numbers of the 7400 series that differ from others in drive, in their inputs' hysteresis,
// in polarity or in their outputs alone, by pin numbers. From memory of the TTL, LSI and
// bus-interface data books, but where a line names its source.
var _ = addSheets(map[string]sheet{
	"74340 74730":       lineDriver(invert, whileLow(1), whileLow(19)),
	"74341 74731":       lineDriver(follow, whileLow(1), whileHigh(19)),
	"74344 74734":       lineDriver(follow, whileLow(1), whileLow(19)),
	"74210 74310 74700": lineDriver(invert, whileLow(1), whileHigh(19)),

	// Source: M74HC7240, HC7241 and HC7244 data sheet, 1993, read
	"747240": lineDriver(invert, whileLow(1), whileLow(19)),
	"747241": lineDriver(follow, whileLow(1), whileHigh(19)),
	"747244": lineDriver(follow, whileLow(1), whileLow(19)),
	// Source: SDAS067A, 1986, read for pins and enables
	"74763": lineDriver(invert, open(whileLow(1)), open(whileHigh(19))),

	"747540": each(busInverters, whileLow(1, 19)),
	"747541": each(busBuffers, whileLow(1, 19)),
	"74827 7429827 742827": each(sheet{23: follow(2), 22: follow(3), 21: follow(4), 20: follow(5), 19: follow(6),
		18: follow(7), 17: follow(8), 16: follow(9), 15: follow(10), 14: follow(11)}, whileLow(1, 13)),
	"74828 7429828 742828": each(sheet{23: invert(2), 22: invert(3), 21: invert(4), 20: invert(5), 19: invert(6),
		18: invert(7), 17: invert(8), 16: invert(9), 15: invert(10), 14: invert(11)}, whileLow(1, 13)),

	// Source: 74HC9014 product specification, 1990, read for the function; pins from memory
	"749015": {19: follow(1), 18: follow(2), 17: follow(3), 16: follow(4), 15: follow(5), 14: follow(6),
		13: follow(7), 12: follow(8), 11: follow(9)},
	"749014": {19: invert(1), 18: invert(2), 17: invert(3), 16: invert(4), 15: invert(5), 14: invert(6),
		13: invert(7), 12: invert(8), 11: invert(9)},
	"749115": {19: oc(follow(1)), 18: oc(follow(2)), 17: oc(follow(3)), 16: oc(follow(4)), 15: oc(follow(5)),
		14: oc(follow(6)), 13: oc(follow(7)), 12: oc(follow(8)), 11: oc(follow(9))},
	"749114": {19: oc(invert(1)), 18: oc(invert(2)), 17: oc(invert(3)), 16: oc(invert(4)), 15: oc(invert(5)),
		14: oc(invert(6)), 13: oc(invert(7)), 12: oc(invert(8)), 11: oc(invert(9))},

	"747007": {2: follow(1), 4: follow(3), 6: follow(5), 8: follow(9), 10: follow(11), 12: follow(13)},
	// Source: SN54HC7002 and SN74HC7002 data sheet SCLS033E, 2003, read
	"747002": {3: nor(1, 2), 6: nor(4, 5), 8: nor(9, 10), 11: nor(12, 13)},
	"74810":  {3: xnor(1, 2), 6: xnor(4, 5), 8: xnor(9, 10), 11: xnor(12, 13)},
	"74811":  {3: oc(xnor(1, 2)), 6: oc(xnor(4, 5)), 8: oc(xnor(9, 10)), 11: oc(xnor(12, 13))},
})

var _ = addTruths74(map[string]truth{
	"741242": func(is part.Pins) levels { return quadBuses(is, 1) },
	"741243": func(is part.Pins) levels { return quadBuses(is, 0) },
	"742242": func(is part.Pins) levels { return quadBuses(is, 1) },
	"74758":  func(is part.Pins) levels { return pullingBuses(is, 1) },
	"74759":  func(is part.Pins) levels { return pullingBuses(is, 0) },

	"742645": func(is part.Pins) levels { return directed(is, crossing{}) },
	"742640": func(is part.Pins) levels { return directed(is, crossing{toA: 1, toB: 1}) },
	"742623": func(is part.Pins) levels { return enabled(is, crossing{}) },
	"742620": func(is part.Pins) levels { return enabled(is, crossing{toA: 1, toB: 1}) },

	// as the 74LS748: the address lets go while no input is low or EI is high
	"74848": func(is part.Pins) levels {
		out := eightPriorities(is)
		release(out, is.Has(5) || out[15] == logic.Zero, 6, 7, 9)
		return out
	},
})

// pullingBuses is a quad transceiver whose highs are released.
func pullingBuses(is part.Pins, invert int) levels {
	out := quadBuses(is, invert)
	for pin, level := range out {
		release(out, level == logic.One, pin)
	}
	return out
}

var _ = addStates74(map[string]modelOf{
	"74531": dRegister{gate: 11, off: 1, d: octalIn, q: octalOut}.model,
	"74535": dRegister{gate: 11, off: 1, d: octalIn, q: octalOut, inverts: true}.model,
	"74532": dRegister{clock: 11, off: 1, d: octalIn, q: octalOut}.model,
	"74536": dRegister{clock: 11, off: 1, d: octalIn, q: octalOut, inverts: true}.model,

	"745074": eachOf(dFlipFlop74(1, 2, 3, 4, 5, 6), dFlipFlop74(13, 12, 11, 10, 9, 8)),
	"7450109": eachOf(jk{clock: 4, preset: 5, clear: 1, j: 2, k: 3, q: 6, bar: 7, rises: true, notK: true}.model,
		jk{clock: 12, preset: 11, clear: 15, j: 14, k: 13, q: 10, bar: 9, rises: true, notK: true}.model),
	"74171": dRegister{clock: 12, clear: 13, d: []int{14, 4, 5, 11}, q: []int{15, 3, 6, 10}, bar: []int{1, 2, 7, 9}}.model,

	"7429821": storage{clock: 13, off: []int{1}, in: span(2, 11), out: span(23, 14)}.model,
	"7429822": storage{clock: 13, off: []int{1}, in: span(2, 11), out: span(23, 14), inverts: true}.model,
	"7429823": storage{clock: 13, clr: 11, keep: 14, off: []int{1}, in: span(2, 10), out: span(23, 15)}.model,
	"7429824": storage{clock: 13, clr: 11, keep: 14, off: []int{1}, in: span(2, 10), out: span(23, 15), inverts: true}.model,
	"7429825": storage{clock: 13, clr: 11, keep: 14, off: []int{1, 2, 23}, in: span(3, 10), out: span(22, 15)}.model,
	"7429826": storage{clock: 13, clr: 11, keep: 14, off: []int{1, 2, 23}, in: span(3, 10), out: span(22, 15), inverts: true}.model,
	"7429841": storage{c: 13, off: []int{1}, in: span(2, 11), out: span(23, 14)}.model,
	"7429842": storage{c: 13, off: []int{1}, in: span(2, 11), out: span(23, 14), inverts: true}.model,
	"7429843": storage{c: 13, clr: 11, pre: 14, off: []int{1}, in: span(2, 10), out: span(23, 15)}.model,
	"7429844": storage{c: 13, clr: 11, pre: 14, off: []int{1}, in: span(2, 10), out: span(23, 15), inverts: true}.model,
	"7429845": storage{c: 13, clr: 11, pre: 14, off: []int{1, 2, 23}, in: span(3, 10), out: span(22, 15)}.model,
	"7429846": storage{c: 13, clr: 11, pre: 14, off: []int{1, 2, 23}, in: span(3, 10), out: span(22, 15), inverts: true}.model,

	"7468": eachOf(clearedLow{clock: 1, clear: 4, modulus: 2, q: []int{14}}.model, clearedLow{clock: 15, clear: 4, modulus: 5, q: []int{3, 13, 2}}.model,
		clearedLow{clock: 9, clear: 11, modulus: 10, q: []int{12, 5, 10, 7}}.model),
	"7469": eachOf(clearedLow{clock: 1, clear: 4, modulus: 2, q: []int{14}}.model, clearedLow{clock: 15, clear: 4, modulus: 8, q: []int{3, 13, 2}}.model,
		clearedLow{clock: 9, clear: 11, modulus: 16, q: []int{12, 5, 10, 7}}.model),
})

// clearedLow counts at the fall of its clock; a low clears it.
type clearedLow struct {
	clock, clear, modulus int
	q                     []int
}

func (c clearedLow) model(*part.Variant) model {
	n := -1
	return func(was, is part.Pins) map[int]logic.Value {
		if !is.Has(c.clear) {
			n = 0
		} else if fell(was, is, c.clock) {
			n = following(n, c.modulus)
		}
		out := levels{}
		show(out, n, c.q...)
		return out
	}
}
