package sheet_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/sheet"
)

// The function table of a 3-input NAND as the TTL data books print it: any low gives a high (from memory).
func TestTableOfANANDReadsAsInADataBook(t *testing.T) {
	typ, err := library.Open("7410")
	require.NoError(t, err)
	c, err := logic.Compile(typ.Variant)
	require.NoError(t, err)
	table := sheet.FunctionTable(c, part.PinSet(typ.Variant.Gates[0].Pins...))
	var rows []string
	for _, line := range strings.Split(strings.TrimSpace(table.String()), "\n") {
		rows = append(rows, strings.Join(strings.Fields(line), " "))
	}
	require.Equal(t, []string{"1A 1B 1C | 1Y", "L X X | H", "H L X | H", "H H L | H", "H H H | L"}, rows)
}

// The package drawing has pin 1 top left and the last pin top right, as every data book draws a DIP.
func TestPinoutIsDrawnFromAbove(t *testing.T) {
	typ, err := library.Open("7410")
	require.NoError(t, err)
	lines := strings.Split(sheet.Pinout(typ.Variant), "\n")
	require.Equal(t, "1A → 1 ┤ ├ 14 + VCC", strings.Join(strings.Fields(lines[1]), " "))
	require.Equal(t, "GND ⏚ 7 ┤ ├ 8 → 3Y", strings.Join(strings.Fields(lines[7]), " "))
}
