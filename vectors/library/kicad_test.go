package library_test

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/kicad"
	"chipassay/vectors/library"
	"chipassay/vectors/part"
)

// symbolFolder holds the open symbol libraries of Debian's kicad-symbols.
const symbolFolder = "/usr/share/kicad/symbols"

var symbolFiles = []string{"74xx", "74xx_IEEE", "4xxx", "4xxx_IEEE"}

func symbolPath(file string) string { return filepath.Join(symbolFolder, file+".kicad_sym") }

// Every part that is also in the open symbol libraries agrees with its symbol in
// the number of pins, the supply pins, and each pin's direction and output type;
// each disagreement is listed in kicadDiffers with the data book's reason.
func TestPinoutsAgreeWithTheSymbolLibraries(t *testing.T) {
	parts, err := library.All()
	require.NoError(t, err)
	byNumber := map[string]*part.Part{}
	for _, p := range parts {
		byNumber[p.Number] = p
	}
	compared := map[string]bool{}
	listed := map[string]bool{}
	for _, file := range symbolFiles {
		text, err := os.ReadFile(symbolPath(file))
		if err != nil {
			t.Fatalf("%v: apt-get install -y --no-install-recommends kicad-symbols", err)
		}
		symbols, err := kicad.Read(string(text))
		require.NoError(t, err)
		for _, symbol := range symbols.Symbols() {
			number, family, ok := part.SplitTypeName(symbol)
			p := byNumber[number]
			if !ok || p == nil {
				continue
			}
			pins, _ := symbols.Pins(symbol)
			compared[number] = true
			where := file + ":" + symbol
			diff := differences(p, family, pins)
			if reason, known := kicadDiffers[where]; known {
				listed[where] = true
				require.NotEmpty(t, diff, "%s agrees now: take it out of the list (%s)", where, reason)
				continue
			}
			for _, d := range diff {
				t.Errorf("%s: %s", where, d)
			}
		}
	}
	for where := range kicadDiffers {
		require.True(t, listed[where], "%s is listed but not compared", where)
	}
	t.Logf("%d parts compared with the symbol libraries, %d symbols differ for the reasons listed", len(compared), len(kicadDiffers))
}

// differences compares a symbol with the variant of its family, or with the
// variant that fits best where the symbol names no family of the part.
func differences(p *part.Part, family *part.Family, pins []kicad.Pin) []string {
	var best []string
	for i, v := range p.Variants {
		diff := compareSymbol(v, pins)
		if family != nil && slices.Contains(v.Families, family) {
			return diff
		}
		if i == 0 || len(diff) < len(best) {
			best = diff
		}
	}
	return best
}

func compareSymbol(v *part.Variant, pins []kicad.Pin) []string {
	var diff []string
	drawn := map[int]kicad.Pin{}
	for _, p := range pins {
		drawn[p.Number] = p
		if p.Number > len(v.Pins) {
			diff = append(diff, fmt.Sprintf("pin %d is drawn, the package has %d", p.Number, len(v.Pins)))
		}
	}
	for _, p := range v.Pins {
		k, ok := drawn[p.Number]
		if !ok {
			k.Type = "no_connect"
		}
		if !sameRole(p, k.Type) {
			diff = append(diff, fmt.Sprintf("pin %d is %s (%s %s) here and %s (%s) there", p.Number, p.Name, p.Stage, p.Role, k.Name, k.Type))
		}
	}
	return diff
}

// sameRole reports whether a pin is what a symbol's electrical type says.
func sameRole(p part.Pin, kind string) bool {
	switch p.Role {
	case part.Supply, part.Ground:
		return strings.HasPrefix(kind, "power")
	case part.Input:
		return kind == "input" || p.Tied != part.NotTied && (kind == "power_in" || kind == "passive")
	case part.Output:
		return kind == map[part.Stage]string{
			part.TotemPole: "output", part.ThreeState: "tri_state",
			part.OpenCollector: "open_collector", part.OpenEmitter: "open_emitter",
		}[p.Stage]
	case part.Bidirectional:
		return kind == "bidirectional" || kind == "tri_state"
	case part.NoConnect:
		return kind == "no_connect" || kind == "unspecified"
	}
	return kind == "passive" || kind == "input" || kind == "output" || kind == "unspecified" || kind == "bidirectional" // external and expander nodes
}
