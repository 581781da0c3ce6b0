package library_test

import (
	"maps"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/library"
)

// truths74 are the combinational parts of the 7400 series beyond plain gates:
// several numbers in one key where the chips do the same on the same pins.
var truths74 = map[string]truth{}

// addTruths74 adds truths; each file with truths calls it for itself.
func addTruths74(more map[string]truth) bool {
	for key := range more {
		if _, twice := truths74[key]; twice {
			panic("two truths for " + key)
		}
	}
	maps.Copy(truths74, more)
	return true
}

// Every combinational part of the 7400 series beyond gates does what its truth
// says, for all combinations of up to 14 inputs, and for walking and random ones of more.
func TestTTLPartsDoAsTheirTruths(t *testing.T) {
	for numbers, of := range truths74 {
		for _, n := range slices.Sorted(slices.Values(splitNumbers(numbers))) {
			t.Run(n, func(t *testing.T) {
				p, err := library.Builtin().Find(n)
				require.NoError(t, err)
				require.NotNil(t, p, "no definition")
				for _, v := range p.Variants {
					compareWithTruth(t, v, of)
				}
			})
		}
	}
}
