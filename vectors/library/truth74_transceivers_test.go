package library_test

import (
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// Transceivers of the 7400 series: two rows of pins, of which at most one
// drives. Source: the TTL data books, from memory.
var _ = addTruths74(map[string]truth{
	"74242": func(is part.Pins) levels { return quadBuses(is, 1) },
	"74243": func(is part.Pins) levels { return quadBuses(is, 0) },

	"74245 74645 741245 741645": func(is part.Pins) levels { return directed(is, crossing{}) },
	"74640 741640":              func(is part.Pins) levels { return directed(is, crossing{toA: 1, toB: 1}) },
	"74641":                     func(is part.Pins) levels { return directed(is, crossing{openA: true, openB: true}) },
	"74642":                     func(is part.Pins) levels { return directed(is, crossing{toA: 1, toB: 1, openA: true, openB: true}) },
	"74638":                     func(is part.Pins) levels { return directed(is, crossing{toA: 1, toB: 1, openA: true}) },
	"74643":                     func(is part.Pins) levels { return directed(is, crossing{toB: 1}) },
	"74644":                     func(is part.Pins) levels { return directed(is, crossing{toB: 1, openA: true, openB: true}) },
	"74639":                     func(is part.Pins) levels { return directed(is, crossing{openA: true}) },

	"74623": func(is part.Pins) levels { return enabled(is, crossing{}) },
	"74620": func(is part.Pins) levels { return enabled(is, crossing{toA: 1, toB: 1}) },
	"74621": func(is part.Pins) levels { return enabled(is, crossing{openA: true, openB: true}) },
	"74622": func(is part.Pins) levels { return enabled(is, crossing{toA: 1, toB: 1, openA: true, openB: true}) },
})

// A crossing is how levels pass between the buses A and B.
type crossing struct {
	toA, toB     int  // 1 where it is inverted on the way
	openA, openB bool // a high is released
}

// directed is an octal one with a direction at pin 1, high from A to B, and an
// enable at pin 19, active low.
func directed(is part.Pins, c crossing) levels {
	on := !is.Has(19)
	return c.levels(is, on && is.Has(1), on && !is.Has(1))
}

// enabled is an octal one with an enable from A to B at pin 1, active high, and
// from B to A at pin 19, active low. With both, it may not be driven at all.
func enabled(is part.Pins, c crossing) levels {
	if is.Has(1) && !is.Has(19) {
		return unknown(2, 3, 4, 5, 6, 7, 8, 9, 11, 12, 13, 14, 15, 16, 17, 18)
	}
	return c.levels(is, is.Has(1), !is.Has(19))
}

func (c crossing) levels(is part.Pins, toB, toA bool) levels {
	out := levels{}
	for i := range 8 {
		a, b := 2+i, 18-i
		put(out, a, lev(is, b)^c.toA)
		put(out, b, lev(is, a)^c.toB)
		release(out, !toA || c.openA && out[a] == logic.One, a)
		release(out, !toB || c.openB && out[b] == logic.One, b)
	}
	return out
}

// quadBuses has an enable from A to B at pin 1, active low, and from B to A at pin
// 13, active high. With both, it may not be driven at all.
func quadBuses(is part.Pins, invert int) levels {
	if !is.Has(1) && is.Has(13) {
		return unknown(3, 4, 5, 6, 8, 9, 10, 11)
	}
	out := levels{}
	for i := range 4 {
		a, b := 3+i, 11-i
		put(out, a, lev(is, b)^invert)
		put(out, b, lev(is, a)^invert)
		release(out, !is.Has(13), a)
		release(out, is.Has(1), b)
	}
	return out
}
