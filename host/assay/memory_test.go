package assay_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/library"
	"chipassay/vectors/part"
)

// memories gives every memory of the library that may be powered, in its first family.
func memories(t testing.TB) (types []part.Type) {
	t.Helper()
	parts, err := library.Memories()
	require.NoError(t, err)
	for _, p := range parts {
		for _, v := range p.Variants {
			if v.Refusal == "" {
				types = append(types, part.Type{Variant: v, Family: v.Families[0]})
			}
		}
	}
	return types
}

// No good memory is refused before power, and every reversed, shifted, empty and
// one-pin-open insertion is told.
func TestSeatingOfMemories(t *testing.T) {
	tried := 0
	for _, typ := range memories(t) {
		require.Empty(t, seating(t, typ).Found, "a good %s", typ.Name())
		found := map[string]string{"empty": "empty socket", "reversed": "put in backwards"}
		if len(typ.Variant.Pins) <= 26 {
			found["shifted"] = "shifted by one"
		}
		for _, pin := range typ.Variant.Pins {
			if pin.Role != part.NoConnect && pin.Untested == "" {
				want := fmt.Sprintf("pin %d makes no contact", pin.Number)
				if pin.Role == part.Ground && typ.Family.Technology == part.NMOS {
					want = "empty socket" // all junctions of the die hang on its ground pin
				}
				found[fmt.Sprintf("%d open", pin.Number)] = want
			}
		}
		for defect, want := range found {
			tried++
			require.Equal(t, want, seating(t, typ, defect).Found, "%s %s", typ.Name(), defect)
		}
	}
	t.Logf("%d insertions told", tried)
}
