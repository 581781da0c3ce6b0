package library_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/library"
	"chipassay/vectors/stimulus"
)

// Common practice: a three-input NAND is low only with all inputs high.
func TestThreeInputNANDIsLowOnlyWithAllInputsHigh(t *testing.T) {
	typ, err := library.Open("7410")
	require.NoError(t, err)
	s, err := stimulus.Exhaustive(typ.Variant)
	require.NoError(t, err)
	require.Len(t, s.Steps, 512)
	seen := map[uint32]bool{}
	for _, st := range s.Steps {
		seen[uint32(st.Drive)] = true
		for _, gate := range [][4]int{{1, 2, 13, 12}, {3, 4, 5, 6}, {9, 10, 11, 8}} {
			low := st.Drive.Has(gate[0]) && st.Drive.Has(gate[1]) && st.Drive.Has(gate[2])
			require.True(t, st.Compared.Has(gate[3]))
			require.Equal(t, !low, st.High.Has(gate[3]))
		}
	}
	require.Len(t, seen, 512)
}
