// Package quantity reads electrical quantities as people type them: 1u, 100n, 4.7 µF.
package quantity

import (
	"fmt"
	"strings"

	"github.com/dustin/go-humanize"
)

// ParseFarads reads a capacitance in F: a number with an SI prefix, u for µ too, and perhaps the unit.
func ParseFarads(text string) (float64, error) {
	value, unit, err := humanize.ParseSI(strings.Replace(strings.TrimSpace(text), "u", "µ", 1))
	if unit = strings.TrimSpace(unit); err != nil || value <= 0 || unit != "" && !strings.EqualFold(unit, "F") {
		return 0, fmt.Errorf("%q is no capacitance: give 1u, 100n or 4.7u", text)
	}
	return value, nil
}

// Farads writes a capacitance in F, with three digits and an SI prefix.
func Farads(farads float64) string {
	value, prefix := humanize.ComputeSI(farads)
	return fmt.Sprintf("%.3g %sF", value, prefix)
}
