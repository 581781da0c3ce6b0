package part_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/part"
)

// A peripheral driver carries its whole number in every marking: 75451, the 55451
// of the military range, 75451B of the revised chip. Source: common practice.
func TestDriversOfThe75Series(t *testing.T) {
	for _, typed := range []string{"75451", "55451", "75451B", " 75451b "} {
		number, family, ok := part.SplitTypeName(typed)
		require.True(t, ok, typed)
		require.Equal(t, "75451", number, typed)
		require.Equal(t, "74", family.Name, typed)
		require.Equal(t, "75451", family.TypeName(number), typed)
	}
	for _, typed := range []string{"754511", "75LS451", "7545", "75451N"} {
		_, _, ok := part.SplitTypeName(typed)
		require.False(t, ok, typed)
	}
}

// The name that a family gives a number is read back as the same number and family.
func TestTypeNamesAreReadBack(t *testing.T) {
	for name, of := range map[string][2]string{
		"7400": {"7400", "74"}, "74LS00": {"7400", "74LS"}, "74175": {"74175", "74"}, "7475": {"7475", "74"},
		"74LS75": {"7475", "74LS"}, "74451": {"74451", "74"}, "4011B": {"4011", "4000B"}, "4069UB": {"4069", "4000UB"},
		"74HC4075": {"4075", "74HC"}, "75451": {"75451", "74"}, "75474": {"75474", "74"},
	} {
		require.Equal(t, name, part.FamilyByName(of[1]).TypeName(of[0]))
		number, family, ok := part.SplitTypeName(name)
		require.True(t, ok, name)
		require.Equal(t, of[0], number, name)
		require.Equal(t, of[1], family.Name, name)
	}
}
