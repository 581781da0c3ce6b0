package part_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/part"
)

const loaded = `
part 7490 "ripple counter"
kind counter
families 74 74LS
source "from memory"
package DIP8
   CKA 1 | U | 8 VCC
   CKB 2 |   | 7 Q
   NC  3 |   | 6 NC
   GND 4 |   | 5 NC
inputs CKA CKB
outputs Q
load 2 CKA
load 4 CKB
load 6 CKA in 74LS
load 8 CKB in 74LS
Q = CKA & CKB
`

// The clock inputs of a 7490 take 3.2 mA and 6.4 mA where a unit load is 1.6 mA, and
// those of a 74LS90 2.4 mA and 3.2 mA where it is 0.4 mA (TTL data books, from memory).
func TestAnInputsLoadMayDifferByFamily(t *testing.T) {
	parts, err := part.Parse("test.part", loaded)
	require.NoError(t, err)
	v := parts[0].Variants[0]
	for family, want := range map[string][2]float64{"74": {3.2, 6.4}, "74LS": {2.4, 3.2}} {
		f := part.FamilyByName(family)
		require.InDelta(t, want[0], v.Pin("CKA").LoadIn(f)*f.IIL, 1e-9)
		require.InDelta(t, want[1], v.Pin("CKB").LoadIn(f)*f.IIL, 1e-9)
	}
}

func TestLoadsOfFamiliesAreChecked(t *testing.T) {
	for bad, want := range map[string]string{
		"load 6 CKA in 74LX": "there is no family 74LX",
		"load 6 CKA in":      "name the families",
		"load 6 CKC in 74LS": "the package has no pin CKC",
		"load 0 CKA in 74LS": "above 0",
	} {
		_, err := part.Parse("test.part", strings.Replace(loaded, "load 6 CKA in 74LS", bad, 1))
		require.ErrorContains(t, err, want)
	}
}
