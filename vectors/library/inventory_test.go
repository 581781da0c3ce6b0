package library_test

import (
	"flag"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/kicad"
	"chipassay/vectors/library"
	"chipassay/vectors/part"
)

var update = flag.Bool("update", false, "write the inventory into vectors/README.md")

// The inventory stands between these lines of the file.
const (
	inventoryFile  = "../README.md"
	inventoryBegin = "<!-- The inventory, written by go test ./vectors/library -run Inventory -update -->\n"
	inventoryEnd   = "<!-- End of the inventory -->\n"
)

// The inventory in the README is what the library holds, with the checks that cover each part.
func TestInventoryIsUpToDate(t *testing.T) {
	parts, err := library.All()
	require.NoError(t, err)
	text, err := os.ReadFile(inventoryFile)
	require.NoError(t, err)
	before, rest, ok := strings.Cut(string(text), inventoryBegin)
	require.True(t, ok, "the README has no place for the inventory")
	_, after, ok := strings.Cut(rest, inventoryEnd)
	require.True(t, ok)
	memories, err := library.Memories()
	require.NoError(t, err)
	want := before + inventoryBegin + inventory(t, parts) + memoryInventory(memories) + inventoryEnd + after
	if *update {
		require.NoError(t, os.WriteFile(inventoryFile, []byte(want), 0o644))
		return
	}
	require.Equal(t, want, string(text), "stale: go test ./vectors/library -run Inventory -update")
}

func inventory(t *testing.T, parts []*part.Part) string {
	oracles, drawn := oracleNumbers(), drawnNumbers(t)
	var b strings.Builder
	series := map[string]int{}
	withOracle, withSymbol := 0, 0
	rows := ""
	for _, p := range parts {
		var families, checks []string
		for _, f := range p.Families() {
			families = append(families, f.Name)
		}
		if oracles[p.Number] {
			checks = append(checks, "oracle")
			withOracle++
		}
		if drawn[p.Number] {
			checks = append(checks, "symbol")
			withSymbol++
		}
		checks = append(checks, "Verilog", "legality", "pin defects")
		if p.Number[0] == '7' {
			series["7400"]++
		} else {
			series["4000"]++
		}
		rows += fmt.Sprintf("| %s | %s | %s | %s | %s |\n", p.Number, p.Title, strings.Join(families, " "), p.Kind, strings.Join(checks, ", "))
	}
	fmt.Fprintf(&b, "\n%d part numbers: %d of the 7400 series and its drivers, %d of the 4000 series. %d have an oracle in plain Go\n"+
		"(%d %%), %d are compared with an open symbol library. Every part is exported to Verilog and simulated against its\n"+
		"vectors, has its vectors checked for legality, and has every pin defect injected.\n\n",
		len(parts), series["7400"], series["4000"], withOracle, 100*withOracle/len(parts), withSymbol)
	b.WriteString("| number | title | families | kind | checks |\n| --- | --- | --- | --- | --- |\n" + rows + "\n")
	return b.String()
}

// memoryInventory lists the memories apart: they have organisation and timing in the place of logic.
func memoryInventory(memories []*part.Part) string {
	var b strings.Builder
	refused := 0
	rows := ""
	for _, p := range memories {
		var names []string
		for _, f := range p.Families() {
			names = append(names, f.TypeName(p.Number))
		}
		v := p.Variants[0]
		m := v.Memory
		notes := fmt.Sprintf("%d pins, %s", len(v.Pins), spaced(m.Access))
		if m.RefreshRows > 0 {
			notes += fmt.Sprintf(", %d rows within %v", m.RefreshRows, spaced(m.RefreshWithin))
		}
		if v.Refusal != "" {
			refused++
			notes = "refused: " + v.Refusal
		}
		rows += fmt.Sprintf("| %s | %s | %s | %d × %d | %s |\n", p.Number, strings.Join(names, " "), m.Kind, m.Words, m.Bits, notes)
	}
	fmt.Fprintf(&b, "%d memories, %d of which are refused for their supplies. Their capacity, refresh, pins and places in the socket are\n"+
		"checked against hand-written tables, the later EPROM and static RAM with an open symbol library.\n\n", len(memories), refused)
	b.WriteString("| number | marked | kind | words × bits | package and slowest access |\n| --- | --- | --- | --- | --- |\n" + rows + "\n")
	return b.String()
}

// spaced writes a time with a space before its unit.
func spaced(d time.Duration) string {
	text := d.String()
	digits := strings.TrimRight(text, "nµms")
	return digits + " " + text[len(digits):]
}

// oracleNumbers are the parts whose function is checked against plain Go.
func oracleNumbers() map[string]bool {
	numbers := map[string]bool{}
	for _, keys := range [][]string{
		slices.Collect(maps.Keys(sheets)), slices.Collect(maps.Keys(truths4000)),
		slices.Collect(maps.Keys(states74)), slices.Collect(maps.Keys(truths74)), slices.Collect(maps.Keys(states4000)),
	} {
		for _, key := range keys {
			list, _, _ := strings.Cut(key, "/")
			for _, n := range strings.Fields(list) {
				numbers[n] = true
			}
		}
	}
	return numbers
}

// drawnNumbers are the parts that have a symbol in the open symbol libraries.
func drawnNumbers(t *testing.T) map[string]bool {
	numbers := map[string]bool{}
	for _, file := range symbolFiles {
		text, err := os.ReadFile(symbolPath(file))
		if err != nil {
			t.Fatalf("%v: apt-get install -y --no-install-recommends kicad-symbols", err)
		}
		symbols, err := kicad.Read(string(text))
		require.NoError(t, err)
		for _, s := range symbols.Symbols() {
			if n, _, ok := part.SplitTypeName(s); ok {
				numbers[n] = true
			}
		}
	}
	return numbers
}

// At least 85 of 100 parts have an oracle that knows nothing of the definition language.
func TestMostPartsHaveAnOracle(t *testing.T) {
	parts, err := library.All()
	require.NoError(t, err)
	oracles := oracleNumbers()
	covered := 0
	for _, p := range parts {
		if oracles[p.Number] {
			covered++
		} else {
			t.Logf("no oracle: %s %s", p.Number, p.Title)
		}
	}
	t.Logf("%d of %d parts have an oracle", covered, len(parts))
	require.GreaterOrEqual(t, 100*covered, 85*len(parts))
}

func BenchmarkParseWholeLibrary(b *testing.B) {
	for b.Loop() {
		if _, err := library.All(); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkOpenOnePart(b *testing.B) {
	for b.Loop() {
		if _, err := library.Open("7410"); err != nil {
			b.Fatal(err)
		}
	}
}
