package record

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
)

// Distances counted by hand: an l for a 1 is 1, depot-11 for depot-1 is 1.
func TestAMistypedLotIsNamedWithTheNearest(t *testing.T) {
	inBoth(t, testAMistypedLotIsNamedWithTheNearest)
}

func testAMistypedLotIsNamedWithTheNearest(t *testing.T, newStore func(testing.TB) *Store) {
	s := newStore(t)
	err := s.FindLot(t.Context(), "depot-1")
	require.EqualError(t, err, `there is no lot "depot-1"; no lot exists yet`)
	require.ErrorIs(t, err, ErrNoLot)
	require.True(t, FirstLot(err))
	require.NoError(t, s.FindLot(t.Context(), ""))

	r := nand()
	r.Lot = "depot-1"
	r = appended(t, s, r)
	opened(t, s, box("depot-11"))
	r.Kind, r.Corrects, r.RetestOf, r.Lot = Correction, r.Serial, 0, ""
	appended(t, s, r)
	for _, name := range []string{"depot-1", "depot-11"} { // one that no record names any more is still known
		require.NoError(t, s.FindLot(t.Context(), name))
	}
	err = s.FindLot(t.Context(), "DEPOT-l")
	require.EqualError(t, err, `there is no lot "DEPOT-l"; similar: depot-1, depot-11`)
	require.False(t, FirstLot(err))
	require.False(t, FirstLot(nil))
	require.ErrorContains(t, s.FindLot(t.Context(), "signal box 4"), "similar: depot-1, depot-11", "all of few")

	for i := range 6 {
		opened(t, s, box(fmt.Sprintf("signal box %d", i)))
	}
	require.EqualError(t, s.FindLot(t.Context(), "signal bx 4"), `there is no lot "signal bx 4"; similar: signal box 4, signal box 0, signal box 1, signal box 2, signal box 3`)
	require.EqualError(t, s.FindLot(t.Context(), "depot-l"), `there is no lot "depot-l"; similar: depot-1, depot-11`)
	require.EqualError(t, s.FindLot(t.Context(), "tepot-l"), `there is no lot "tepot-l"; similar: depot-1`, "two of seven letters")
	require.ErrorContains(t, s.FindLot(t.Context(), "tepox-l"), "is similar", "three of seven")
	require.EqualError(t, s.FindLot(t.Context(), "tram"), `there is no lot "tram", and none of the 8 is similar: chipassay yield --by lot lists them`)
}
