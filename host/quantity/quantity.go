// Package quantity reads and writes electrical quantities as people at a bench do: 100n,
// 4.7 µF, 4n7, 10k.
package quantity

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// prefixes are powers of a thousand, from 10^-12.
var prefixes = []string{"p", "n", "µ", "m", "", "k", "M"}

var errValue = errors.New("not a value")

// ParseFarads reads a capacitance in F.
func ParseFarads(text string) (float64, error) {
	value, err := parse(text, "F")
	if err != nil {
		return 0, fmt.Errorf("%q is no capacitance: give 1u, 100n or 470p", text)
	}
	return value, nil
}

// ParseOhms reads a resistance in Ω.
func ParseOhms(text string) (float64, error) {
	value, err := parse(text, "Ω")
	if err != nil {
		return 0, fmt.Errorf("%q is no resistance: give 10k or 4700", text)
	}
	return value, nil
}

// parse reads a positive number with a prefix, which may stand in place of the point, and
// perhaps the unit.
func parse(text, unit string) (float64, error) {
	text = strings.TrimSuffix(strings.TrimSuffix(strings.TrimSpace(text), unit), strings.ToLower(unit))
	text = strings.NewReplacer("μ", "µ", "u", "µ", "K", "k", " ", "").Replace(text) // the Greek letter, and the sign
	factor := 1.0
	for i, prefix := range prefixes {
		before, after, found := strings.Cut(text, prefix)
		if prefix == "" || !found {
			continue
		}
		factor = math.Pow(1000, float64(i-4))
		if text = before; after != "" { // 4n7
			if before == "" || strings.Contains(before, ".") {
				return 0, errValue
			}
			text += "." + after
		}
		break
	}
	value, err := strconv.ParseFloat(text, 64)
	if err != nil || !(value > 0) || math.IsInf(value, 0) {
		return 0, errValue
	}
	return value * factor, nil
}

// Farads writes a capacitance in F, with three digits: "100 nF".
func Farads(f float64) string { return write(f, "F") }

// Seconds writes a time in s: "1.02 ms".
func Seconds(s float64) string { return write(s, "s") }

// Hertz writes a frequency in Hz.
func Hertz(f float64) string { return write(f, "Hz") }

func write(x float64, unit string) string {
	if x == 0 || math.IsNaN(x) {
		return "0 " + unit
	}
	at := int(math.Floor(math.Log10(x)*(1+1e-12)/3+1e-9)) + 4
	if x/math.Pow(1000, float64(at-4)) >= 999.5 { // three digits make it the next one
		at++
	}
	at = max(0, min(len(prefixes)-1, at))
	return fmt.Sprintf("%.3g %s%s", x/math.Pow(1000, float64(at-4)), prefixes[at], unit)
}
