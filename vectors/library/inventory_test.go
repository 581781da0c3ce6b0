package library_test

import (
	"flag"
	"fmt"
	"maps"
	"os"
	"regexp"
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
	want := before + inventoryBegin + summary(slices.Concat(parts, memories)) + inventory(t, parts) + memoryInventory(memories) + inventoryEnd + after
	if *update {
		require.NoError(t, os.WriteFile(inventoryFile, []byte(want), 0o644))
		return
	}
	require.Equal(t, want, string(text), "stale: go test ./vectors/library -run Inventory -update")
}

// The groups of numbers in the summary, and where the facts of a part come from.
const (
	series74 = iota
	series4000
	drivers75
	otherNumbers
	memoryParts
	groups
)

var fourThousand = regexp.MustCompile(`^(4[0-9]{3}|40[0-9]{3})$`)

func groupOf(p *part.Part) int {
	switch n := p.Number; {
	case p.Memory():
		return memoryParts
	case strings.HasPrefix(n, "74"):
		return series74
	case strings.HasPrefix(n, "75"):
		return drivers75
	case fourThousand.MatchString(n):
		return series4000
	}
	return otherNumbers
}

// sourceOf sorts what a definition says of its facts.
func sourceOf(source string) string {
	switch {
	case strings.Contains(source, "read") && !strings.Contains(source, "not read"):
		return "a data sheet that was read"
	case strings.Contains(source, "symbol"):
		return "memory; the pins agree with an open symbol library"
	case strings.HasPrefix(source, "from memory"), strings.HasSuffix(source, "from memory"):
		return "memory alone"
	}
	return "a data sheet or book that is named"
}

// summary counts the parts by kind, family and source.
func summary(parts []*part.Part) string {
	kinds, sources, families := map[string]*[groups + 1]int{}, map[string]*[groups + 1]int{}, map[string]int{}
	count := func(of map[string]*[groups + 1]int, name string, group int) {
		if of[name] == nil {
			of[name] = &[groups + 1]int{}
		}
		of[name][group]++
		of[name][groups]++
	}
	for _, p := range parts {
		for _, name := range []string{p.Kind, "all"} {
			count(kinds, name, groupOf(p))
		}
		count(sources, sourceOf(p.Source), groupOf(p))
		for _, f := range p.Families() {
			families[f.Name]++
		}
	}
	var b strings.Builder
	fmt.Fprintf(&b, "\n%d numbers are defined, %d more are other names of these, and %d are known and missing (`chipassay parts --missing`).\n\n",
		len(parts), len(library.Aliases()), len(library.MissingParts()))
	for _, rows := range []struct {
		title string
		of    map[string]*[groups + 1]int
	}{{"kind", kinds}, {"facts from", sources}} {
		fmt.Fprintf(&b, "| %s | 7400 series | 4000 series | 75 series | other numbers | memories | all |\n| --- | --- | --- | --- | --- | --- | --- |\n", rows.title)
		for _, name := range slices.Sorted(maps.Keys(rows.of)) {
			fmt.Fprintf(&b, "| %s |", name)
			for _, n := range rows.of[name] {
				fmt.Fprintf(&b, " %d |", n)
			}
			b.WriteString("\n")
		}
		b.WriteString("\n")
	}
	b.WriteString("The sources of the families' limits stand beside each in part/limits_test.go.\n\n| family | parts |\n| --- | --- |\n")
	for _, f := range slices.Concat(part.Families, part.MemoryFamilies) {
		fmt.Fprintf(&b, "| %s, %s | %d |\n", f.Name, f.Title, families[f.Name])
	}
	return b.String()
}

func inventory(t *testing.T, parts []*part.Part) string {
	oracles, drawn := oracleNumbers(), drawnNumbers(t)
	var b strings.Builder
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
		rows += fmt.Sprintf("| %s | %s | %s | %s | %s |\n", p.Number, p.Title, strings.Join(families, " "), p.Kind, strings.Join(checks, ", "))
	}
	fmt.Fprintf(&b, "\nOf %d parts of logic %d have an oracle in plain Go (%d %%), and %d are compared with an open symbol library.\n"+
		"Every part is exported to Verilog and simulated against its vectors, has its vectors checked for legality, and has\n"+
		"every pin defect injected.\n\n", len(parts), withOracle, 100*withOracle/len(parts), withSymbol)
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
