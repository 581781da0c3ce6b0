package library_test

import (
	"maps"

	"chipassay/vectors/part"
)

// Analog switches and multiplexers: a channel that is on shows the level of the common pin, one that is off is released.
func init() {
	maps.Copy(truths4000, map[string]truth{
		"4016 4066": func(is part.Pins) levels {
			out := levels{}
			for _, g := range [][3]int{{13, 1, 2}, {5, 4, 3}, {6, 8, 9}, {12, 11, 10}} {
				conduct(is, out, is.Has(g[0]), g[1], g[2])
			}
			return out
		},
		"4316": func(is part.Pins) levels {
			out := levels{}
			for _, g := range [][3]int{{15, 2, 1}, {5, 3, 4}, {6, 11, 10}, {14, 12, 13}} {
				conduct(is, out, is.Has(g[0]) && !is.Has(7), g[1], g[2])
			}
			return out
		},
		"4051": func(is part.Pins) levels {
			return channels(is, !is.Has(6), number(is, 9, 10, 11), 3, 13, 14, 15, 12, 1, 5, 2, 4)
		},
		"4052": func(is part.Pins) levels {
			out := channels(is, !is.Has(6), number(is, 9, 10), 13, 12, 14, 15, 11)
			maps.Copy(out, channels(is, !is.Has(6), number(is, 9, 10), 3, 1, 5, 2, 4))
			return out
		},
		"4053": func(is part.Pins) levels {
			out := channels(is, !is.Has(6), lev(is, 11), 14, 12, 13)
			maps.Copy(out, channels(is, !is.Has(6), lev(is, 10), 15, 2, 1))
			maps.Copy(out, channels(is, !is.Has(6), lev(is, 9), 4, 5, 3))
			return out
		},
		"4551": func(is part.Pins) levels {
			out := channels(is, true, lev(is, 9), 14, 15, 1)
			maps.Copy(out, channels(is, true, lev(is, 9), 4, 2, 3))
			maps.Copy(out, channels(is, true, lev(is, 9), 5, 6, 10))
			maps.Copy(out, channels(is, true, lev(is, 9), 13, 11, 12))
			return out
		},
		"4067": func(is part.Pins) levels {
			return channels(is, !is.Has(15), number(is, 13, 14, 11, 10), 1, 9, 8, 7, 6, 5, 4, 3, 2, 23, 22, 21, 20, 19, 18, 17, 16)
		},
		"4097": func(is part.Pins) levels {
			out := channels(is, !is.Has(13), number(is, 14, 11, 10), 1, 9, 8, 7, 6, 5, 4, 3, 2)
			maps.Copy(out, channels(is, !is.Has(13), number(is, 14, 11, 10), 17, 23, 22, 21, 20, 19, 18, 16, 15))
			return out
		},
		"4529": func(is part.Pins) levels {
			out := channels(is, is.Has(1), number(is, 7, 6), 9, 2, 3, 4, 5)
			maps.Copy(out, channels(is, is.Has(15), number(is, 7, 6), 10, 14, 13, 12, 11))
			return out
		},
	})
}

func conduct(is part.Pins, out levels, on bool, from, to int) {
	put(out, to, lev(is, from))
	release(out, !on, to)
}

// channels connects the common pin with the chosen one of the channels.
func channels(is part.Pins, on bool, chosen, common int, pins ...int) levels {
	out := levels{}
	for i, pin := range pins {
		conduct(is, out, on && i == chosen, common, pin)
	}
	return out
}
