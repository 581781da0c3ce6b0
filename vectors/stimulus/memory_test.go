package stimulus_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/stimulus"
)

// No steps are made for a memory, even of a circuit that was not compiled: with no
// steps nothing is compared, and what is not compared must not pass.
func TestAMemoryHasNoSteps(t *testing.T) {
	for _, number := range []string{"2114", "4164", "2716", "82S129", "7489"} {
		typ, err := library.Open(number)
		require.NoError(t, err)
		_, err = stimulus.For(&logic.Circuit{Variant: typ.Variant})
		var memory *logic.MemoryError
		require.ErrorAs(t, err, &memory, number)
		_, err = stimulus.Exhaustive(typ.Variant)
		require.ErrorAs(t, err, &memory, number)
	}
}
