package sheet

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"chipassay/vectors/part"
)

// Outline draws the part as a block with its inputs on the left and its outputs
// on the right, as a circuit diagram has it: a circle for active low, a wedge for
// a clock.
func Outline(v *part.Variant) string {
	left, right := sides(v)
	width := 0
	for _, p := range left {
		width = max(width, utf8.RuneCountInString(p.Name))
	}
	clocks := clockPins(v)
	var b strings.Builder
	space := strings.Repeat(" ", width)
	fmt.Fprintf(&b, "  %s  ┌──────────────┐\n", space)
	for i := range max(len(left), len(right)) {
		in, out := fmt.Sprintf("  %s  │  ", space), " │"
		if i < len(left) {
			in = fmt.Sprintf("  %*s %s %s", width, left[i].Name, mark(left[i], "─┤", "○┤"), wedge(clocks.Has(left[i].Number)))
		}
		if i < len(right) {
			out = " " + mark(right[i], "├─", "├○") + " " + right[i].Name + notes(right[i])
			if right[i].Role == part.Bidirectional {
				out += " ↔"
			}
		}
		label := ""
		if i == 0 {
			label = v.Part.Number
		}
		fmt.Fprintf(&b, "%s%-11s%s\n", in, label, out)
	}
	fmt.Fprintf(&b, "  %s  └──────────────┘\n", space)
	return b.String()
}

// sides puts the inputs left and all that may drive right.
func sides(v *part.Variant) (left, right []part.Pin) {
	for _, p := range v.Pins {
		switch p.Role {
		case part.Input, part.External, part.Expander:
			left = append(left, p)
		case part.Output, part.Bidirectional:
			right = append(right, p)
		}
	}
	byName := func(a, b part.Pin) int { return strings.Compare(a.Name, b.Name) }
	slices.SortStableFunc(left, byName)
	slices.SortStableFunc(right, byName)
	return left, right
}

func mark(p part.Pin, plain, low string) string {
	if strings.HasPrefix(p.Name, "/") {
		return low
	}
	return plain
}

func wedge(clock bool) string {
	if clock {
		return ">"
	}
	return " "
}

// clockPins are the pins named as clocks in the registers.
func clockPins(v *part.Variant) (pins part.Pins) {
	for _, r := range v.Logic.Registers {
		for _, rule := range r.Rules {
			if rule.Edge != part.Level {
				if pin := v.Logic.Signals[rule.Clock].Pin; pin != 0 {
					pins = pins.With(pin, true)
				}
			}
		}
	}
	return pins
}
