// Package sheet prints a part definition as the first page of a data sheet:
// the package seen from above, the function as equations and as a table, the
// families and the cautions.
package sheet

import (
	"fmt"
	"strings"
	"unicode/utf8"

	"chipassay/vectors/part"
)

// Pinout draws the package seen from above, pin 1 top left, with an arrow for
// the direction of each pin.
func Pinout(v *part.Variant) string {
	half := len(v.Pins) / 2
	wide := 0
	for _, p := range v.Pins[:half] {
		wide = max(wide, utf8.RuneCountInString(label(p)))
	}
	var b strings.Builder
	indent := strings.Repeat(" ", wide)
	fmt.Fprintf(&b, "  %s      ┌───╰╯───┐\n", indent)
	for i := range half {
		left, right := v.Pins[i], v.Pins[len(v.Pins)-1-i]
		fmt.Fprintf(&b, "  %s%s %s %2d ┤        ├ %-2d %s %s\n", indent[:wide-utf8.RuneCountInString(label(left))], label(left),
			arrow(left, "→", "←"), left.Number, right.Number, arrow(right, "←", "→"), label(right))
	}
	fmt.Fprintf(&b, "  %s      └────────┘\n", indent)
	return b.String()
}

// label is a pin's name with what is special about it.
func label(p part.Pin) string {
	return p.Name + notes(p)
}

func notes(p part.Pin) string {
	var notes []string
	if p.Stage != part.NoStage && p.Stage != part.TotemPole {
		notes = append(notes, map[part.Stage]string{part.OpenCollector: "OC", part.OpenEmitter: "OE", part.ThreeState: "3S"}[p.Stage])
	}
	if p.Schmitt {
		notes = append(notes, "Schmitt")
	}
	if p.Tied == part.TiedLow {
		notes = append(notes, "tied L")
	}
	if p.Tied == part.TiedHigh {
		notes = append(notes, "tied H")
	}
	if len(notes) == 0 {
		return ""
	}
	return " (" + strings.Join(notes, ", ") + ")"
}

// arrow shows a pin's direction, in and out being drawn for its side.
func arrow(p part.Pin, in, out string) string {
	switch p.Role {
	case part.Input:
		return in
	case part.Output:
		return out
	case part.Bidirectional:
		return "↔"
	case part.Supply:
		return "+"
	case part.Ground:
		return "⏚"
	}
	return "·"
}
