package library_test

// The gates of the 7400 series, each with the pins of its inputs, as the data
// books' logic diagrams number them. All from memory, but where a line names its
// source.
var _ = addSheets(map[string]sheet{
	// quad 2-input gates
	"7400 7424 7437 74132 741000": {3: nand(1, 2), 6: nand(4, 5), 8: nand(9, 10), 11: nand(12, 13)},
	"7403 7426 7438 741003":       {3: oc(nand(1, 2)), 6: oc(nand(4, 5)), 8: oc(nand(9, 10)), 11: oc(nand(12, 13))},
	"7401/74 74LS 74ALS 74HC":     {1: oc(nand(2, 3)), 4: oc(nand(5, 6)), 10: oc(nand(8, 9)), 13: oc(nand(11, 12))},
	"7401/74H":                    {3: oc(nand(1, 2)), 6: oc(nand(4, 5)), 8: oc(nand(9, 10)), 11: oc(nand(12, 13))},
	"7439":                        {1: oc(nand(2, 3)), 4: oc(nand(5, 6)), 10: oc(nand(8, 9)), 13: oc(nand(11, 12))},
	"7402 7428 74128 741002":      {1: nor(2, 3), 4: nor(5, 6), 10: nor(8, 9), 13: nor(11, 12)},
	"7433":                        {1: oc(nor(2, 3)), 4: oc(nor(5, 6)), 10: oc(nor(8, 9)), 13: oc(nor(11, 12))},
	"7436":                        {3: nor(1, 2), 6: nor(4, 5), 8: nor(9, 10), 11: nor(12, 13)},
	"7408 741008 747001":          {3: and(1, 2), 6: and(4, 5), 8: and(9, 10), 11: and(12, 13)},
	"7409":                        {3: oc(and(1, 2)), 6: oc(and(4, 5)), 8: oc(and(9, 10)), 11: oc(and(12, 13))},
	"7432 741032 747032":          {3: or(1, 2), 6: or(4, 5), 8: or(9, 10), 11: or(12, 13)},
	"7486/74 74S 74LS 74ALS 74F 74HC 74HCT 74AC 74ACT 74C": {3: xor(1, 2), 6: xor(4, 5), 8: xor(9, 10), 11: xor(12, 13)},
	"7486/74L": {3: xor(1, 2), 4: xor(5, 6), 10: xor(8, 9), 11: xor(12, 13)},
	"74386":    {3: xor(1, 2), 4: xor(5, 6), 10: xor(8, 9), 11: xor(12, 13)},
	"74136":    {3: oc(xor(1, 2)), 6: oc(xor(4, 5)), 8: oc(xor(9, 10)), 11: oc(xor(12, 13))},
	"74266":    {3: oc(xnor(1, 2)), 4: oc(xnor(5, 6)), 10: oc(xnor(8, 9)), 11: oc(xnor(12, 13))},
	"747266":   {3: xnor(1, 2), 4: xnor(5, 6), 10: xnor(8, 9), 11: xnor(12, 13)},
	"74135":    {3: xor(1, 2, 4), 7: xor(5, 6, 4), 9: xor(10, 11, 12), 13: xor(14, 15, 12)},

	// hex inverters and buffers
	"7404 7414 7419 741004 74901 74903 74914": {2: invert(1), 4: invert(3), 6: invert(5), 8: invert(9), 10: invert(11), 12: invert(13)},
	"7405 7406 7416 741005":                   {2: oc(invert(1)), 4: oc(invert(3)), 6: oc(invert(5)), 8: oc(invert(9)), 10: oc(invert(11)), 12: oc(invert(13))},
	"7434 741034 747014 74902 74904":          {2: follow(1), 4: follow(3), 6: follow(5), 8: follow(9), 10: follow(11), 12: follow(13)},
	"7407 7417 7435 741035 74906":             {2: oc(follow(1)), 4: oc(follow(3)), 6: oc(follow(5)), 8: oc(follow(9)), 10: oc(follow(11)), 12: oc(follow(13))},
	"74907":                                   {2: oe(follow(1)), 4: oe(follow(3)), 6: oe(follow(5)), 8: oe(follow(9)), 10: oe(follow(11)), 12: oe(follow(13))},

	// gates of three inputs and more
	"7410 741010":                      {12: nand(1, 2, 13), 6: nand(3, 4, 5), 8: nand(9, 10, 11)},
	"7412":                             {12: oc(nand(1, 2, 13)), 6: oc(nand(3, 4, 5)), 8: oc(nand(9, 10, 11))},
	"7411 741011":                      {12: and(1, 2, 13), 6: and(3, 4, 5), 8: and(9, 10, 11)},
	"7415":                             {12: oc(and(1, 2, 13)), 6: oc(and(3, 4, 5)), 8: oc(and(9, 10, 11))},
	"7427":                             {12: nor(1, 2, 13), 6: nor(3, 4, 5), 8: nor(9, 10, 11)},
	"7413 7418 7420 7440 74140 741020": {6: nand(1, 2, 4, 5), 8: nand(9, 10, 12, 13)},
	"7422":                             {6: oc(nand(1, 2, 4, 5)), 8: oc(nand(9, 10, 12, 13))},
	"7421":                             {6: and(1, 2, 4, 5), 8: and(9, 10, 12, 13)},
	"7425":                             {6: aoi(group{1, 3}, group{2, 3}, group{4, 3}, group{5, 3}), 8: aoi(group{9, 11}, group{10, 11}, group{12, 11}, group{13, 11})},
	"7423":                             {7: aoi(group{2, 4}, group{3, 4}, group{5, 4}, group{6, 4}), 9: aoi(group{10, 12}, group{11, 12}, group{13, 12}, group{14, 12})},
	"7430":                             {8: nand(1, 2, 3, 4, 5, 6, 11, 12)},
	"74133":                            {9: nand(1, 2, 3, 4, 5, 6, 7, 10, 11, 12, 13, 14, 15)},
	"74134":                            {9: low(nand(1, 2, 3, 4, 5, 6, 7, 10, 11, 12, 13, 14), 15)},
	"74260":                            {5: nor(1, 2, 3, 12, 13), 6: nor(4, 8, 9, 10, 11)},
	"7431":                             {2: invert(1), 4: follow(3), 7: nand(5, 6), 9: nand(10, 11), 12: follow(13), 14: invert(15)},

	// AND-OR-INVERT gates; without an expander, which adds nothing while its nodes are open
	"7450":                   {8: aoi(group{1, 13}, group{9, 10}), 6: aoi(group{2, 3}, group{4, 5})},
	"7451/74 74H 74S":        {8: aoi(group{1, 13}, group{9, 10}), 6: aoi(group{2, 3}, group{4, 5})},
	"7451/74L 74LS 74F 74HC": {8: aoi(group{1, 12, 13}, group{9, 10, 11}), 6: aoi(group{2, 3}, group{4, 5})},
	"7458":                   {8: andOr(group{1, 12, 13}, group{9, 10, 11}), 6: andOr(group{2, 3}, group{4, 5})},
	"7453/74":                {8: aoi(group{1, 13}, group{2, 3}, group{4, 5}, group{9, 10})},
	"7453/74H":               {8: aoi(group{1, 13}, group{2, 3}, group{4, 5, 6}, group{9, 10})},
	"7454/74":                {8: aoi(group{1, 13}, group{2, 3}, group{4, 5}, group{9, 10})},
	"7454/74H":               {8: aoi(group{1, 13}, group{2, 3}, group{4, 5, 6}, group{9, 10})},
	"7454/74L 74LS":          {6: aoi(group{1, 2}, group{3, 4, 5}, group{9, 10, 11}, group{12, 13})},
	"7455":                   {8: aoi(group{1, 2, 3, 4}, group{10, 11, 12, 13})},
	// 74F64 data sheet, 1996 edition, function table
	"7464": {8: aoi(group{2, 3}, group{1, 11, 12, 13}, group{4, 5, 6}, group{9, 10})},
	"7465": {8: oc(aoi(group{2, 3}, group{1, 11, 12, 13}, group{4, 5, 6}, group{9, 10}))},

	// hex drivers
	"74804": {3: nand(1, 2), 6: nand(4, 5), 9: nand(7, 8), 11: nand(12, 13), 14: nand(15, 16), 17: nand(18, 19)},
	"74805": {3: nor(1, 2), 6: nor(4, 5), 9: nor(7, 8), 11: nor(12, 13), 14: nor(15, 16), 17: nor(18, 19)},
	"74808": {3: and(1, 2), 6: and(4, 5), 9: and(7, 8), 11: and(12, 13), 14: and(15, 16), 17: and(18, 19)},
	"74832": {3: or(1, 2), 6: or(4, 5), 9: or(7, 8), 11: or(12, 13), 14: or(15, 16), 17: or(18, 19)},
})

// The buffers with enables, likewise: each output with its data pin, in rows as
// the package has them.
var (
	hexBuffers   = sheet{3: follow(2), 5: follow(4), 7: follow(6), 9: follow(10), 11: follow(12), 13: follow(14)}
	hexInverters = sheet{3: invert(2), 5: invert(4), 7: invert(6), 9: invert(10), 11: invert(12), 13: invert(14)}

	busBuffers   = sheet{18: follow(2), 17: follow(3), 16: follow(4), 15: follow(5), 14: follow(6), 13: follow(7), 12: follow(8), 11: follow(9)}
	busInverters = sheet{18: invert(2), 17: invert(3), 16: invert(4), 15: invert(5), 14: invert(6), 13: invert(7), 12: invert(8), 11: invert(9)}

	pairedBuffers   = sheet{3: follow(2), 5: follow(4), 7: follow(6), 9: follow(8), 11: follow(12), 13: follow(14), 15: follow(16), 17: follow(18)}
	pairedInverters = sheet{3: invert(2), 5: invert(4), 7: invert(6), 9: invert(8), 11: invert(12), 13: invert(14), 15: invert(16), 17: invert(18)}
)

func whileLow(pins ...int) func(gate) gate {
	return func(g gate) gate { return low(g, pins...) }
}

// halves puts one output stage on the outputs up to pin last, and another on those above.
func halves(s sheet, last int, first, second func(gate) gate) sheet {
	changed := sheet{}
	for pin, g := range s {
		if pin <= last {
			changed[pin] = first(g)
		} else {
			changed[pin] = second(g)
		}
	}
	return changed
}

// outputs of the first enable (pin 1) and of the second (pin 19) of a 74240
func lineDriver(data func(int) gate, first, second func(gate) gate) sheet {
	return sheet{
		18: first(data(2)), 16: first(data(4)), 14: first(data(6)), 12: first(data(8)),
		9: second(data(11)), 7: second(data(13)), 5: second(data(15)), 3: second(data(17)),
	}
}

func whileHigh(pin int) func(gate) gate {
	return func(g gate) gate { return high(g, pin) }
}

// open lets an output go that is not enabled, or not low.
func open(enable func(gate) gate) func(gate) gate {
	return func(g gate) gate { return enable(oc(g)) }
}

var _ = addSheets(map[string]sheet{
	"74125 74425": {3: low(follow(2), 1), 6: low(follow(5), 4), 8: low(follow(9), 10), 11: low(follow(12), 13)},
	"74126 74426": {3: high(follow(2), 1), 6: high(follow(5), 4), 8: high(follow(9), 10), 11: high(follow(12), 13)},
	"74365 80C95": each(hexBuffers, whileLow(1, 15)),
	"74366 80C96": each(hexInverters, whileLow(1, 15)),
	"74367":       halves(hexBuffers, 9, whileLow(1), whileLow(15)),
	"74368":       halves(hexInverters, 9, whileLow(1), whileLow(15)),

	"74240 741240 742240": lineDriver(invert, whileLow(1), whileLow(19)),
	"74241 741241 742241": lineDriver(follow, whileLow(1), whileHigh(19)),
	"74244 741244 742244": lineDriver(follow, whileLow(1), whileLow(19)),
	"74756":               lineDriver(invert, open(whileLow(1)), open(whileLow(19))),
	"74757":               lineDriver(follow, open(whileLow(1)), open(whileHigh(19))),
	"74760":               lineDriver(follow, open(whileLow(1)), open(whileLow(19))),

	"74540 742540": each(busInverters, whileLow(1, 19)),
	"74541 742541": each(busBuffers, whileLow(1, 19)),
	// 74LS465 to 74LS468 data sheet: true and inverting, common and separate enables
	"74465 74795": each(pairedBuffers, whileLow(1, 19)),
	"74466 74796": each(pairedInverters, whileLow(1, 19)),
	"74467 74797": halves(pairedBuffers, 9, whileLow(1), whileLow(19)),
	"74468 74798": halves(pairedInverters, 9, whileLow(1), whileLow(19)),
})
