package library_test

import (
	"fmt"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/kicad"
	"chipassay/vectors/library"
	"chipassay/vectors/part"
)

// memorySymbols are symbols of parts with the pins of a memory of another
// number: ferroelectric RAM in the place of static RAM.
var memorySymbols = map[string]string{
	"Memory_NVRAM:FM1608B-SG": "6264",
	"Memory_NVRAM:FM1808B-SG": "62256",
}

// memoryDiffers lists pins that a symbol draws otherwise, with the reason.
var memoryDiffers = map[string]string{
	"Memory_NVRAM:FM1608B-SG: pin 26 is CS2 ( input) here and  (no_connect) there": "the static RAM has a second select there, which its ferroelectric twin leaves out",
}

var makersLetters = regexp.MustCompile(`^[A-Z]+`)

// Every memory that is also in the open symbol libraries agrees with its symbol in
// each pin's direction and output type, and address and data pins in their names.
func TestMemoryPinoutsAgreeWithTheSymbolLibraries(t *testing.T) {
	compared := map[string]int{}
	listed := map[string]bool{}
	for _, file := range []string{"Memory_EPROM", "Memory_EEPROM", "Memory_RAM", "Memory_NVRAM"} {
		text, err := os.ReadFile(symbolPath(file))
		if err != nil {
			t.Fatalf("%v: apt-get install -y --no-install-recommends kicad-symbols", err)
		}
		symbols, err := kicad.Read(string(text))
		require.NoError(t, err)
		for _, symbol := range symbols.Symbols() {
			where := file + ":" + symbol
			p := memoryOfSymbol(t, where, symbol)
			pins, _ := symbols.Pins(symbol)
			if p == nil || lastPin(pins) != len(p.Variants[0].Pins) {
				continue // a chip carrier, or no memory of the library
			}
			compared[p.Number]++
			v := p.Variants[0]
			diff := append(compareSymbol(v, pins), compareNames(v, pins)...)
			for _, d := range diff {
				key := where + ": " + d
				if memoryDiffers[key] == "" {
					t.Errorf("%s", key)
				}
				listed[key] = true
			}
		}
	}
	for key := range memoryDiffers {
		require.True(t, listed[key], "%s agrees now: take it out of the list", key)
	}
	for _, number := range []string{"2764", "27128", "27256", "27512", "6264", "62256", "28C256"} {
		require.Positive(t, compared[number], number)
	}
}

func lastPin(pins []kicad.Pin) int {
	last := 0
	for _, p := range pins {
		last = max(last, p.Number)
	}
	return last
}

// memoryOfSymbol finds the memory that a symbol is drawn for, or nil.
func memoryOfSymbol(t *testing.T, where, symbol string) *part.Part {
	number, ok := memorySymbols[where]
	if !ok {
		number, _, ok = part.SplitTypeName(makersLetters.ReplaceAllString(symbol, ""))
	}
	if !ok {
		return nil
	}
	p, err := library.Builtin().Find(number)
	require.NoError(t, err)
	if p == nil || !p.Memory() {
		return nil
	}
	return p
}

// compareNames compares address and data pins bit by bit.
func compareNames(v *part.Variant, pins []kicad.Pin) []string {
	drawn := map[int]string{}
	for _, p := range pins {
		drawn[p.Number] = p.Name
	}
	var diff []string
	for bit, pin := range v.Memory.Address {
		if want := fmt.Sprintf("A%d", bit); drawn[pin] != want {
			diff = append(diff, fmt.Sprintf("pin %d is %s here and %s there", pin, want, drawn[pin]))
		}
	}
	for bit, pin := range v.Memory.DataOut {
		if name := drawn[pin]; strings.TrimLeft(name, "DQ") != fmt.Sprint(bit) {
			diff = append(diff, fmt.Sprintf("pin %d is bit %d here and %s there", pin, bit, name))
		}
	}
	return diff
}
