package identify

import (
	"fmt"
	"slices"
	"strings"
	"unicode"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
)

// Check says what of a hint cannot be, beginning with the name of its field.
func (h Hint) Check() error {
	known := func(c rune) bool { return unicode.IsLetter(c) || unicode.IsDigit(c) }
	switch {
	case h.Pins != 0 && (h.Pins%2 != 0 || h.Pins < 4 || h.Pins > adapter.Positions):
		return fmt.Errorf("pins %d: a package has two rows, so an even number of pins, 4 to %d", h.Pins, adapter.Positions)
	case h.Kind != "" && !slices.Contains(part.Kinds, h.Kind):
		return fmt.Errorf("kind %s: there is no such kind; there are %s", h.Kind, strings.Join(part.Kinds, ", "))
	case h.Marking != "" && !strings.ContainsFunc(h.Marking, known):
		return fmt.Errorf("marking %q has no readable character: leave it out", h.Marking)
	}
	return nil
}
