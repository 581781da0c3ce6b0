package library_test

import (
	"strings"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// segmentPins are the pins of the segments a to g.
var segmentPins = [7]int{13, 12, 11, 10, 9, 15, 14}

// signs are what the codes 10 to 15 show in the 46 to 49 and 246 to 249.
var signs = []string{"deg", "cdg", "bfg", "adfg", "defg", ""}

// Display decoders of the 7400 series: the shapes of the digits, and the order of
// precedence of lamp test and blanking. Source: the TTL data books, from memory.
var _ = addTruths74(map[string]truth{
	"7446 7447 74347":   func(is part.Pins) levels { return sinks(lowSegments(sevenSegments(is, false))) },
	"74246 74247 74447": func(is part.Pins) levels { return sinks(lowSegments(sevenSegments(is, true))) },
	"7448":              func(is part.Pins) levels { return sevenSegments(is, false) },
	"74248":             func(is part.Pins) levels { return sevenSegments(is, true) },
	"74249":             func(is part.Pins) levels { return sinks(sevenSegments(is, true)) },
	"7449": func(is part.Pins) levels {
		out := levels{}
		lit := ""
		if is.Has(3) {
			lit = shape(number(is, 4, 2, 1, 5), false)
		}
		segments(out, lit, "", [7]int{11, 10, 9, 8, 6, 13, 12})
		return sinks(out)
	},
})

// shape is what a code lights, six and nine with their tails or without.
func shape(code int, tails bool) string {
	switch {
	case code > 9:
		return signs[code-10]
	case code == 6 && !tails:
		return strings.Trim(digits[6], "a")
	case code == 9 && !tails:
		return strings.ReplaceAll(digits[9], "d", "")
	}
	return digits[code]
}

// sevenSegments is a decoder with lamp test at pin 3, blanking input and
// ripple-blanking output at pin 4 and ripple-blanking input at pin 5, lit segments
// high. Blanking goes before lamp test, lamp test before ripple blanking.
func sevenSegments(is part.Pins, tails bool) levels {
	code := number(is, 6, 2, 1, 7)
	out := levels{4: logic.Z}
	lampTest := !is.Has(3)
	if code == 0 && !is.Has(5) && !lampTest {
		out[4] = logic.Zero
	}
	lit := shape(code, tails)
	if lampTest {
		lit = "abcdefg"
	}
	if !is.Has(4) || out[4] == logic.Zero {
		lit = ""
	}
	unsure := ""
	if out[4] == logic.Zero && is.Has(4) {
		unsure = "abcdefg" // the chip pulls pin 4 low: it cannot be high
	}
	segments(out, lit, unsure, segmentPins)
	return out
}

// lowSegments lights by a low.
func lowSegments(out levels) levels {
	for _, pin := range segmentPins {
		out[pin] = out[pin].Not()
	}
	return out
}

// sinks makes every output open-collector.
func sinks(out levels) levels {
	for pin, v := range out {
		release(out, v == logic.One, pin)
	}
	return out
}
