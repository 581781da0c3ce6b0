package marking

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/library"
)

// A number with the maker's letters is looked for before the bare one, as a part and as another
// name of one: an NEC D4464 is a static RAM and no 4464 (from memory of the data books).
func TestMemoriesByOtherNames(t *testing.T) {
	names := map[string]string{"UPD446": "6116", "41464": "4464", "TMS4042": "2111", "4116X": "none"}
	aliasOf := func(n string) (library.Alias, bool) {
		return library.Alias{Number: n, Of: names[n], Source: "the test"}, names[n] != ""
	}
	for _, c := range []struct{ letters, number, want, chain string }{
		{"UPD", "446", "6116", "UPD446, house number UPD446, is the 6116 (the test)"},
		{"XY", "446", "", ""},
		{"M", "41464", "4464", "M41464, house number 41464, is the 4464 (the test)"},
		{"TMS", "4042", "2111", "TMS4042, house number TMS4042, is the 2111 (the test)"},
		{"D", "4464", "D4464", ""}, {"TMS", "4464", "4464", ""}, {"", "4464", "4464", ""}, {"TMS", "2716", "TMS2716", ""},
		{"", "4116X", "", "4116X, house number 4116X, is the none (the test)"},
	} {
		p, chain, err := findMemory(c.letters, c.number, library.Builtin(), aliasOf)
		require.NoError(t, err)
		require.Equal(t, c.chain, chain)
		if c.want == "" {
			require.Nil(t, p, c.letters+c.number)
			continue
		}
		require.Equal(t, c.want, p.Number, c.letters+c.number)
	}
}
