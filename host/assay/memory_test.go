package assay_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chipassay/host/assay"
	"chipassay/host/virtual"
	"chipassay/vectors/library"
	"chipassay/vectors/march"
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

// marched tests a memory of the library through the real firmware.
func marched(t *testing.T, typed string, defects ...string) (*assay.Result, *virtual.Chip) {
	t.Helper()
	typ := open(t, typed)
	var all []virtual.Defect
	for _, text := range defects {
		d, err := virtual.ParseDefect(text)
		require.NoError(t, err)
		all = append(all, d)
	}
	chip, err := virtual.NewChip(typ, all...)
	require.NoError(t, err)
	a, seat, err := seatedOn(t.Context(), typ, chip)
	require.NoError(t, err)
	defer a.Close()
	test, err := march.ByName(march.Default)
	require.NoError(t, err)
	return assay.RunMemory(t.Context(), seat, assay.MemoryPlan{Type: typ, Test: test}), chip
}

// A good memory of every kind passes. A row of a dynamic one never stands longer
// without refresh than its data sheet allows, 128 rows in 2 ms or 256 in 4 ms (from
// memory of the data sheets of 64K and 256K parts).
func TestGoodMemoriesPass(t *testing.T) {
	for _, typ := range memories(t) {
		m := typ.Variant.Memory
		if m.Kind.ROM() || m.Words > 65536 || slices.Contains(unreachable, typ.Name()) {
			continue // the largest takes seconds
		}
		r, chip := marched(t, typ.Name())
		require.Equal(t, assay.Pass, r.Verdict, "a good %s: %s", typ.Name(), r.Reason)
		require.Equal(t, r.VectorsPlanned, r.VectorsApplied)
		if m.Kind == part.DynamicRAM {
			within := map[int]time.Duration{128: 2 * time.Millisecond, 256: 4 * time.Millisecond}[m.RefreshRows]
			// Between two runs, when the rails change, nothing has to be kept.
			require.LessOrEqual(t, chip.LongestUnrefreshed(), within+within/10, typ.Name())
			require.NotZero(t, chip.LongestUnrefreshed())
		}
	}
}

// unreachable have a supply pin where revision A has no switch.
var unreachable = []string{"4464"}
