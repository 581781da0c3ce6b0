package library_test

import (
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/kicad"
	"chipassay/vectors/library"
)

// The symbols of drivers and of circuits at lines, which carry their makers' letters, and
// what of each differs from its definition, and why.
var interfaceSymbols = []struct {
	file, symbol, number string
	differ               []string
}{
	{"Transistor_Array", "ULN2003A", "2003", withoutSupply},
	{"Transistor_Array", "ULN2004A", "2004", withoutSupply},
	{"Transistor_Array", "ULN2803A", "2803", withoutSupply},
	{"Transistor_Array", "ULN2804A", "ULN2804", withoutSupply},
	{"Transistor_Array", "SN75468", "75468", withoutSupply},
	{"Transistor_Array", "SN75469", "75469", withoutSupply},
	{"Interface", "AM26LS31CN", "26LS31", nil},
	{"Interface", "SN75160BN", "75160", nil},
	{"Interface_LineDriver", "MC3486N", "3486", nil},
	{"Interface_LineDriver", "MC3487N", "3487", nil},
	{"Interface_LineDriver", "UA9637", "9637", nil},
	{"Interface_LineDriver", "UA9638CP", "9638", nil},
	{"Interface_LineDriver", "DS8830", "75183", []string{
		"pin 5 is 1Y", "pin 6 is 1Z", "pin 8 is 2Z", "pin 9 is 2Y", // outputs drawn as inputs
	}},
	{"Timer", "NE555P", "555", []string{"pin 7 is DIS"}}, // drawn as an input
	{"Timer", "NE556", "556", []string{"pin 1 is 1DIS", "pin 13 is 2DIS"}},
}

// The common of the diodes is no supply: here it stands where other parts have theirs.
var withoutSupply = []string{"is COM"}

func TestInterfacePinoutsAgreeWithTheSymbolLibraries(t *testing.T) {
	files := map[string]*kicad.Library{}
	for _, c := range interfaceSymbols {
		if files[c.file] == nil {
			text, err := os.ReadFile(symbolPath(c.file))
			if err != nil {
				t.Fatalf("%v: apt-get install -y --no-install-recommends kicad-symbols", err)
			}
			files[c.file], err = kicad.Read(string(text))
			require.NoError(t, err)
		}
		p, err := library.Builtin().Find(c.number)
		require.NoError(t, err)
		require.NotNil(t, p, c.number)
		pins, ok := files[c.file].Pins(c.symbol)
		require.True(t, ok, c.symbol)
		found := compareSymbol(p.Variants[0], pins)
		require.Len(t, found, len(c.differ), "%s: %v", c.symbol, found)
		for i, d := range c.differ {
			require.Contains(t, found[i], d, c.symbol)
		}
	}
}
