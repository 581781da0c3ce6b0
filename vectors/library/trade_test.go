package library_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/library"
	"chipassay/vectors/part"
)

// What people type, and a part that they must find by it (the data books' titles
// of these numbers, from memory).
func TestSearchKnowsTheTradesWords(t *testing.T) {
	all, err := library.Builtin().Parts()
	require.NoError(t, err)
	for query, number := range map[string]string{
		"mux": "74151", "xor": "7486", "alu": "74181", "7-segment": "7447", "7 segment bcd": "7447", "one shot": "74123", "one-shot": "4538",
		"dram": "4164", "sram": "2114", "tri-state": "74125", "Tri State buffer": "74125", "ttl nand": "7400", "cmos nand": "4011",
		"jk": "7473", "J-K": "4027", "open collector nand": "7401", "flip flop": "7474", "demux 16": "74138", "xnor": "74266", "schmitt": "7414", "aoi": "7451",
	} {
		var numbers []string
		for _, p := range library.Search(all, query) {
			numbers = append(numbers, p.Number)
		}
		require.True(t, slices.Contains(numbers, number), "%q finds %v and not %s", query, numbers, number)
		require.Less(t, len(numbers), len(all)/3, "%q finds too much", query)
	}
	require.Empty(t, library.Search(all, "ttl dram"))
	for query, number := range map[string]string{"dtl nand": "946", "dtl": "936", "darlington": "2003", "line receiver": "1489"} {
		require.True(t, slices.ContainsFunc(library.Search(all, query), func(p *part.Part) bool { return p.Number == number }), query)
	}
	require.False(t, slices.ContainsFunc(library.Search(all, "ttl nand"), func(p *part.Part) bool { return p.Number == "946" }), "DTL is no TTL")
}
