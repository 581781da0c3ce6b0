package library_test

import (
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// The gates of the 4000 series, each with the pins of its inputs, as the data
// books' logic diagrams number them. All from memory, but where a line names its
// source.
var _ = addSheets(map[string]sheet{
	"4001":           {3: nor(1, 2), 4: nor(5, 6), 10: nor(8, 9), 11: nor(12, 13)},
	"4011 4093":      {3: nand(1, 2), 4: nand(5, 6), 10: nand(8, 9), 11: nand(12, 13)},
	"4030 4070 4507": {3: xor(1, 2), 4: xor(5, 6), 10: xor(8, 9), 11: xor(12, 13)},
	"4071":           {3: or(1, 2), 4: or(5, 6), 10: or(8, 9), 11: or(12, 13)},
	"4077":           {3: xnor(1, 2), 4: xnor(5, 6), 10: xnor(8, 9), 11: xnor(12, 13)},
	"4081":           {3: and(1, 2), 4: and(5, 6), 10: and(8, 9), 11: and(12, 13)},

	"4023": {9: nand(1, 2, 8), 6: nand(3, 4, 5), 10: nand(11, 12, 13)},
	"4025": {9: nor(1, 2, 8), 6: nor(3, 4, 5), 10: nor(11, 12, 13)},
	"4073": {9: and(1, 2, 8), 6: and(3, 4, 5), 10: and(11, 12, 13)},
	"4075": {9: or(1, 2, 8), 6: or(3, 4, 5), 10: or(11, 12, 13)},
	"4000": {6: nor(3, 4, 5), 10: nor(11, 12, 13), 9: invert(8)},

	"4002": {1: nor(2, 3, 4, 5), 13: nor(9, 10, 11, 12)},
	"4012": {1: nand(2, 3, 4, 5), 13: nand(9, 10, 11, 12)},
	"4072": {1: or(2, 3, 4, 5), 13: or(9, 10, 11, 12)},
	"4082": {1: and(2, 3, 4, 5), 13: and(9, 10, 11, 12)},
	"4068": {13: nand(2, 3, 4, 5, 9, 10, 11, 12), 1: and(2, 3, 4, 5, 9, 10, 11, 12)},
	"4078": {13: nor(2, 3, 4, 5, 9, 10, 11, 12), 1: or(2, 3, 4, 5, 9, 10, 11, 12)},

	"4069 40106 4584": {2: invert(1), 4: invert(3), 6: invert(5), 8: invert(9), 10: invert(11), 12: invert(13)},
	"4009 4049":       {2: invert(3), 4: invert(5), 6: invert(7), 10: invert(9), 12: invert(11), 15: invert(14)},
	"4010 4050":       {2: follow(3), 4: follow(5), 6: follow(7), 10: follow(9), 12: follow(11), 15: follow(14)},
	"4041":            {1: follow(3), 2: invert(3), 4: follow(6), 5: invert(6), 8: follow(10), 9: invert(10), 11: follow(13), 12: invert(13)},

	// D low and INHIBIT (12) low give a high; DISABLE (4) high releases
	"4502":       {5: low(nor(3, 12), 4), 7: low(nor(6, 12), 4), 2: low(nor(1, 12), 4), 9: low(nor(10, 12), 4), 11: low(nor(13, 12), 4), 14: low(nor(15, 12), 4)},
	"4503 40097": halves(hexBuffers, 9, whileLow(1), whileLow(15)),
	"40098":      halves(hexInverters, 9, whileLow(1), whileLow(15)),

	// 4085B data sheet, 1995 edition: a high at the fifth input forces the output low
	"4085": {3: aoi(group{1, 2}, group{12, 13}, group{11}), 4: aoi(group{5, 6}, group{8, 9}, group{10})},
	// 4086B data sheet, 1995 edition: a high at I8 (10) or a low at I9 (11) forces the output low
	"4086": {3: func(is part.Pins) logic.Value {
		if is.Has(10) || !is.Has(11) {
			return logic.Zero
		}
		return aoi(group{1, 2}, group{5, 6}, group{8, 9}, group{12, 13})(is)
	}},
	// 14506UB data sheet, revision 3: to build a 4-wide AND-OR-INVERT gate, pin 7 of
	// gate B goes to gate A's expand input. A low from gate B therefore has to pull
	// gate A's output low, just as one of gate A's own AND groups does when all its
	// inputs are high.
	"4506": {
		15: low(expanded(5, group{1, 2}, group{3, 4}, group{6}), 14),
		7:  low(expanded(13, group{9, 10}, group{11, 12}, group{6}), 14),
	},
	// 14572UB data sheet, revision 3, logic diagram
	"4572": {1: invert(2), 3: invert(4), 5: nor(6, 7), 9: invert(10), 11: invert(12), 13: nand(14, 15)},

	"4048": {1: high(multifunction, 2)},
})

// expanded is an AND-OR-INVERT gate with an expand input that a low acts on.
func expanded(expand int, groups ...[]int) gate {
	g := aoi(groups...)
	return func(is part.Pins) logic.Value {
		if !is.Has(expand) {
			return logic.Zero
		}
		return g(is)
	}
}

// multifunction is the 4048 as its function table lists it: Ka (10), Kb (7) and Kc
// (9) choose one of eight functions of A to D (14 to 11) and E to H (6 to 3). What
// another 4048 gives to the expand input (15) is one more input of the last gate.
func multifunction(is part.Pins) logic.Value {
	ad, eh := []int{14, 13, 12, 11}, []int{6, 5, 4, 3}
	more := is.Has(15)
	anyOfAll := anyHigh(is, ad) || anyHigh(is, eh) || more
	allOfAll := allHigh(is, ad) && allHigh(is, eh) && !more
	switch number(is, 10, 7, 9) {
	case 0b000: // NOR
		return logic.FromBool(!anyOfAll)
	case 0b001: // OR
		return logic.FromBool(anyOfAll)
	case 0b010: // OR/AND
		return logic.FromBool(anyHigh(is, ad) && anyHigh(is, eh) && !more)
	case 0b011: // OR/NAND
		return logic.FromBool(!(anyHigh(is, ad) && anyHigh(is, eh) && !more))
	case 0b100: // AND
		return logic.FromBool(allOfAll)
	case 0b101: // NAND
		return logic.FromBool(!allOfAll)
	case 0b110: // AND/NOR
		return logic.FromBool(!(allHigh(is, ad) || allHigh(is, eh) || more))
	}
	return logic.FromBool(allHigh(is, ad) || allHigh(is, eh) || more) // AND/OR
}
