package sheet_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/library"
	"chipassay/vectors/sheet"
)

// Organisation, strobes and refresh as the memory data books print them (from memory).
func TestAMemorysSheetSaysWhatTheDataBookSays(t *testing.T) {
	for number, rows := range map[string][]string{
		"2114": {"memory static RAM", "organisation 1024 words of 4 bits, 64 rows × 16 columns",
			"address A0..A9, bit 0 first; A3..A8 choose the row, A0..A2 A9 the column",
			"controls /CS low selects the chip", "/WE low writes", "access 450 ns, of the slowest grade"},
		"4164": {"memory dynamic RAM", "organisation 65536 words of 1 bit, 256 rows × 256 columns",
			"controls /RAS low takes the row", "refresh 128 rows within 2 ms"},
		"82S129": {"memory PROM", "organisation 256 words of 4 bits, 16 rows × 16 columns",
			"controls /CE1 low and /CE2 low together select the chip"},
		"2102": {"data in at DI, out at DO", "access 1 µs, of the slowest grade"},
		"7489": {"inverted: reads the complement of what was written"},
	} {
		typ, err := library.Open(number)
		require.NoError(t, err)
		var printed []string
		for line := range strings.Lines(sheet.Memory(typ.Variant)) {
			printed = append(printed, strings.Join(strings.Fields(line), " "))
		}
		require.Subset(t, printed, rows, number)
	}
}

// Every memory of the library has a whole sheet and a drawing, and says how it is tested or why not.
func TestEveryMemoryHasASheet(t *testing.T) {
	memories, err := library.Memories()
	require.NoError(t, err)
	for _, p := range memories {
		var page, drawing strings.Builder
		require.NoError(t, sheet.Page(&page, p, nil), p.Number)
		require.NoError(t, sheet.WriteSVG(&drawing, p.Variants[0]), p.Number)
		require.Contains(t, drawing.String(), "</svg>", p.Number)
		require.Regexp(t, `chipassay (test|dump) |not with this adapter`, page.String(), p.Number)
		require.NotContains(t, page.String(), "  |  ", "%s: no function table", p.Number)
	}
}
