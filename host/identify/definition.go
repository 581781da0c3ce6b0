package identify

import (
	"fmt"
	"slices"
	"strings"

	"chipassay/host/probe"
	"chipassay/vectors/part"
)

// Definition is a part definition of what was measured, under the number that a person gives it.
func (t *Table) Definition(number, family string, seat probe.Seat) string {
	var b strings.Builder
	fmt.Fprintf(&b, "part %s \"measured, not from a data sheet\"\nkind gate\nfamilies %s\nsource \"measured in the socket: %d steps without memory seen\"\n\n",
		number, family, t.Steps)
	fmt.Fprintf(&b, "package DIP%d\n", seat.Pins)
	t.pinout(&b, seat)
	used := slices.DeleteFunc(slices.Clone(t.Inputs), func(pin int) bool { return slices.Contains(t.Idle, pin) })
	fmt.Fprintf(&b, "\ninputs %s\n", pinNames(used))
	for _, stage := range []part.Stage{part.TotemPole, part.OpenCollector, part.OpenEmitter, part.ThreeState} {
		var pins []int
		for _, e := range t.Equations {
			if e.Stage == stage {
				pins = append(pins, e.Pin)
			}
		}
		switch {
		case len(pins) == 0:
		case stage == part.TotemPole:
			fmt.Fprintf(&b, "outputs %s\n", pinNames(pins))
		default:
			fmt.Fprintf(&b, "outputs %s %s\n", stage, pinNames(pins))
		}
	}
	b.WriteString("\n")
	for _, e := range t.Equations {
		if e.Enable != "" {
			fmt.Fprintf(&b, "P%d = %s ? %s : z\n", e.Pin, e.Enable, e.Expression)
		} else {
			fmt.Fprintf(&b, "P%d = %s\n", e.Pin, e.Expression)
		}
	}
	return b.String()
}

func pinNames(pins []int) string {
	var names []string
	for _, pin := range pins {
		names = append(names, fmt.Sprintf("P%d", pin))
	}
	return strings.Join(names, " ")
}

// pinout draws the package as definitions have it.
func (t *Table) pinout(b *strings.Builder, seat probe.Seat) {
	name := func(pin int) string {
		switch {
		case pin == seat.VCC:
			return "VCC"
		case pin == seat.GND:
			return "GND"
		case slices.Contains(t.Idle, pin):
		case slices.Contains(t.Inputs, pin), slices.Contains(t.Outputs, pin):
			return fmt.Sprintf("P%d", pin)
		}
		return "NC"
	}
	for row := 1; row <= seat.Pins/2; row++ {
		middle := "|   |"
		if row == 1 {
			middle = "| U |"
		}
		right := seat.Pins + 1 - row
		fmt.Fprintf(b, "%8s %2d %s %-2d %s\n", name(row), row, middle, right, name(right))
	}
}
