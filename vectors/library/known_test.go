package library_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/library"
)

// Another name is of a part that is there, by the family that it names, and is no part itself.
func TestOtherNamesAreOfParts(t *testing.T) {
	lib := library.Builtin()
	require.NotEmpty(t, library.Aliases())
	for _, a := range library.Aliases() {
		require.False(t, lib.Has(a.Number), "%s is defined, and is another name of %s", a.Number, a.Of)
		require.NotEmpty(t, a.Source, a.Number)
		_, err := lib.Open(a.Of)
		require.NoError(t, err, a.Number)
		if len(a.Number) == 3 {
			continue // a person who types 832 means the 74832; the marking MC832 is read as the other name
		}
		typ, err := lib.Open(a.Number)
		require.NoError(t, err, a.Number)
		require.Contains(t, a.Of, strings.TrimPrefix(typ.Part().Number, "74"), a.Number)
	}
}

// What is missing is neither defined nor another name, has a title and a reason, and is
// listed once.
func TestMissingPartsAreMissing(t *testing.T) {
	lib := library.Builtin()
	seen := map[string]bool{}
	for _, m := range library.MissingParts() {
		require.NotEmpty(t, m.Title, m.Number)
		require.NotEmpty(t, m.Reason, m.Number)
		require.False(t, seen[m.Number], m.Number)
		seen[m.Number] = true
		require.False(t, lib.Has(m.Number), "%s is defined", m.Number)
		_, alias := library.AliasOf(m.Number)
		require.False(t, alias, "%s is another name", m.Number)
	}
}

// A number within a range is missing, its neighbours outside are not known.
func TestMissingRanges(t *testing.T) {
	for number, want := range map[string]string{"10100": "ECL 10K", "10131": "ECL 10K", "10299": "ECL 10K", "10099": "", "10300": "", "1010": "", "100131": "ECL 100K"} {
		title := ""
		if m := library.MissingPart(number); m != nil {
			title = m.Title
			require.Equal(t, number, m.Number)
		}
		require.Equal(t, want, title, number)
	}
	_, err := library.Open("74L95")
	require.ErrorContains(t, err, "74L95 (other pins than the 7495")
	_, err = library.Open("1488")
	require.EqualError(t, err, "not in this library: 1488, quad line driver: it needs ±9 to ±12 V")
}
