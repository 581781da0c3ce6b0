package part

import (
	"fmt"
	"strings"
)

// A StartPin is a pin of a definition that is begun: what is known of it.
type StartPin struct {
	Name string // as the definition writes it
	Role Role
	Kind Stage
}

// Start writes a commented definition to begin with, for a package of n pins.
// Pins of which nothing is known are named P1, P2 …; corner pins are taken for
// the supply. The text parses as it stands, and the comments say what to change.
func Start(number, title string, pins []StartPin) string {
	n := len(pins)
	var b strings.Builder
	fmt.Fprintf(&b, `# A definition reads like a data sheet's first page. Change what is wrong, then
# check it with: chipassay define check FILE. The language: vectors/README.md.

part %s "%s"

# One of: %s
kind other

# The families it was made in: 74 74LS 74HC 4000B …
families 74

# Where the facts come from: data book and page
source "from memory"

# The package seen from above: NAME number | | number NAME. A bar over a name is
# written as a slash before it. VCC or VDD, GND or VSS are the supply, NC is not connected.
package DIP%d
`, number, title, strings.Join(Kinds, " "), n)
	for i := range n / 2 {
		mark := " "
		if i == 0 {
			mark = "U"
		}
		fmt.Fprintf(&b, "%10s %2d | %s | %-2d %s\n", pins[i].Name, i+1, mark, n-i, pins[n-1-i].Name)
	}
	b.WriteString("\n# Outputs may be open-collector or three-state: outputs open-collector 1Y\n")
	roles := func(keyword string, role Role, stage Stage) []string {
		var names []string
		for _, p := range pins {
			if p.Role == role && p.Kind == stage {
				names = append(names, p.Name)
			}
		}
		if names != nil {
			fmt.Fprintf(&b, "%s %s\n", keyword, strings.Join(names, " "))
		}
		return names
	}
	inputs := roles("inputs", Input, NoStage)
	outputs := roles("outputs", Output, TotemPole)
	released := roles("outputs three-state", Output, ThreeState)
	outputs = append(outputs, roles("outputs open-collector", Output, OpenCollector)...)
	turning := roles("bidirectional", Bidirectional, ThreeState)
	roles("external", External, NoStage)
	b.WriteString("\n# The function: equations, gates, tables or registers. These only hold the place.\n")
	all := "0"
	if inputs != nil {
		all = strings.Join(inputs, " & ")
	}
	for _, name := range outputs {
		fmt.Fprintf(&b, "%s = !(%s)\n", name, all)
	}
	for _, name := range append(released, turning...) {
		fmt.Fprintf(&b, "%s = (%s) ? z : 1\n", name, all)
	}
	return b.String()
}
