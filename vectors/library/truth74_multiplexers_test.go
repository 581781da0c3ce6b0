package library_test

import "chipassay/vectors/part"

// Data selectors of the 7400 series: the level of the pin with the number that
// the address gives. Source: the TTL data books, from memory.
var _ = addTruths74(map[string]truth{
	"74150": func(is part.Pins) levels { return levelsAt(10, 1-lev(is, sixteenToOne(is))*(1-lev(is, 9))) },
	"74250 82C19": func(is part.Pins) levels {
		out := levelsAt(10, 1-lev(is, sixteenToOne(is)))
		release(out, is.Has(9), 10)
		return out
	},
	"74151": func(is part.Pins) levels {
		out := levels{}
		shown := lev(is, eightToOne(is))
		if is.Has(7) { // strobed: Y low, W high
			shown = 0
		}
		putAll(out, []int{shown, 1 - shown}, 5, 6)
		return out
	},
	"74251": func(is part.Pins) levels {
		out := levels{}
		shown := lev(is, eightToOne(is))
		putAll(out, []int{shown, 1 - shown}, 5, 6)
		release(out, is.Has(7), 5, 6)
		return out
	},
	"74152": func(is part.Pins) levels {
		return levelsAt(6, 1-lev(is, []int{5, 4, 3, 2, 1, 13, 12, 11}[number(is, 8, 9, 10)]))
	},
	"74153": func(is part.Pins) levels { return twoOfFourLines(is, true, false) },
	"74352": func(is part.Pins) levels { return twoOfFourLines(is, false, false) },
	"74253": func(is part.Pins) levels { return twoOfFourLines(is, true, true) },
	"74353": func(is part.Pins) levels { return twoOfFourLines(is, false, true) },
	"74157": func(is part.Pins) levels { return fourOfTwoLines(is, true, false) },
	"74158": func(is part.Pins) levels { return fourOfTwoLines(is, false, false) },
	"74257": func(is part.Pins) levels { return fourOfTwoLines(is, true, true) },
	"74258": func(is part.Pins) levels { return fourOfTwoLines(is, false, true) },
})

// levelsAt is a chip with one output.
func levelsAt(pin, level int) levels {
	out := levels{}
	put(out, pin, level)
	return out
}

// sixteenToOne is the pin that the 74150 selects, eightToOne that of the 74151.
func sixteenToOne(is part.Pins) int {
	return []int{8, 7, 6, 5, 4, 3, 2, 1, 23, 22, 21, 20, 19, 18, 17, 16}[number(is, 11, 13, 14, 15)]
}

func eightToOne(is part.Pins) int {
	return []int{4, 3, 2, 1, 15, 14, 13, 12}[number(is, 9, 10, 11)]
}

// twoOfFourLines is the 74153 and what shares its pins. A section that is not
// strobed shows the level of no line, or nothing where it is three-state.
func twoOfFourLines(is part.Pins, straight, threeState bool) levels {
	out := levels{}
	address := number(is, 2, 14)
	for _, section := range []struct {
		lines          []int
		output, strobe int
	}{{[]int{6, 5, 4, 3}, 7, 1}, {[]int{10, 11, 12, 13}, 9, 15}} {
		strobeOne(out, is, section.lines[address], section.output, section.strobe, straight, threeState)
	}
	return out
}

// fourOfTwoLines is the 74157 and what shares its pins.
func fourOfTwoLines(is part.Pins, straight, threeState bool) levels {
	out := levels{}
	for _, g := range [][3]int{{2, 3, 4}, {5, 6, 7}, {11, 10, 9}, {14, 13, 12}} {
		strobeOne(out, is, g[lev(is, 1)], g[2], 15, straight, threeState)
	}
	return out
}

// strobeOne shows a line at an output while the strobe is low.
func strobeOne(out levels, is part.Pins, line, output, strobe int, straight, threeState bool) {
	level := is.Has(line) && !is.Has(strobe)
	if level == straight {
		put(out, output, 1)
	} else {
		put(out, output, 0)
	}
	release(out, threeState && is.Has(strobe), output)
}
