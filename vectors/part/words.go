package part

import (
	"fmt"
	"strconv"
	"strings"
)

// And joins words as a sentence does: "1", "1 and 2", "1, 2 and 3".
func And(words []string) string {
	last := len(words) - 1
	if last < 1 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:last], ", ") + " and " + words[last]
}

// Listed is a noun with what it counts: "gate 3", "gates 1 and 2".
func Listed(noun string, words []string) string {
	if len(words) > 1 {
		noun += "s"
	}
	return noun + " " + And(words)
}

// Words are the pins' numbers in a sentence: "pin 3", "pins 3 and 11".
func (s Pins) Words() string {
	var words []string
	for n := range s.All() {
		words = append(words, strconv.Itoa(n))
	}
	return Listed("pin", words)
}

// Named are Words with the pins' names: "pin 3 (1Y)", "pins 3 (1Y) and 4 (2Y)".
func (v *Variant) Named(pins Pins) string {
	var words []string
	for n := range pins.All() {
		words = append(words, fmt.Sprintf("%d (%s)", n, v.Pins[n-1].Name))
	}
	return Listed("pin", words)
}

// String is the pin in a sentence: "pin 3 (1Y)".
func (p *Pin) String() string { return fmt.Sprintf("pin %d (%s)", p.Number, p.Name) }

// Ohms writes a resistance, Ω, as it is printed on a drawing: "1 kΩ".
func Ohms(value float64) string {
	switch {
	case value >= 1e6:
		return fmt.Sprintf("%.3g MΩ", value/1e6)
	case value >= 1e3:
		return fmt.Sprintf("%.3g kΩ", value/1e3)
	}
	return fmt.Sprintf("%.3g Ω", value)
}
