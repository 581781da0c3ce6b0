package part_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/part"
)

const switched = `
part 4016 "analog switch"
kind switch
families 4000B
source "from memory"
package DIP8
   Y1  1 | U | 8 VDD
   Z1  2 |   | 7 E
   Y2  3 |   | 6 CX
   VSS 4 |   | 5 Z2
inputs Y1 Y2 E
outputs three-state Z1 Z2
external CX
joined Y1 Z1
joined CX VSS
diodeless Z2
pumped
Z1 = E ? Y1 : z
Z2 = E ? Y2 : z

part 4066 "the other way round"
like 4016
package DIP8
   Z1  1 | U | 8 VDD
   E   2 |   | 7 Y1
   Y2  3 |   | 6 CX
   VSS 4 |   | 5 Z2
inputs Y1 Y2 E
outputs three-state Z1 Z2
external CX
`

// Pins are joined by their names: in another package they are other numbers.
func TestJoinedPins(t *testing.T) {
	parts, err := part.Parse("test.part", switched)
	require.NoError(t, err)
	for i, want := range [][][]int{{{1, 2}, {4, 6}}, {{1, 7}, {4, 6}}} {
		v := parts[i].Variants[0]
		require.Equal(t, want, v.Joined)
		require.Equal(t, want[0], v.JoinedWith(want[0][1]))
		require.Nil(t, v.JoinedWith(3))
		require.True(t, v.Pumped)
		require.False(t, part.Type{Variant: v, Family: part.FamilyByName("4000B")}.Pumped(), "only NMOS has charge pumps")
	}
	v := parts[0].Variants[0]
	require.True(t, v.Pin("Z2").Diodeless)
	require.False(t, v.Pin("Z1").Diodeless)
}

func TestJoinedPinsAreChecked(t *testing.T) {
	for bad, want := range map[string]string{
		"joined Y1":            "name at least two pins",
		"joined Y1 Y1":         "joined already",
		"joined Y1 CX":         "joined already",
		"joined Y1 Z9":         "the package has no pin Z9",
		"diodeless Z9":         "the package has no pin Z9",
		"pumped Y1":            "pumped stands alone",
		"joined Y1 Z1\njoined": "names must follow",
	} {
		_, err := part.Parse("test.part", strings.Replace(switched, "joined Y1 Z1", bad, 1))
		require.ErrorContains(t, err, want, bad)
	}
}
