package pal_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/identify"
	"chipassay/host/pal"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// Markings as they are copied from chips (common practice).
func TestDevicesAreFoundByTheirMarking(t *testing.T) {
	for marked, want := range map[string]string{
		"PAL16L8ACN": "16L8", "pal16r4": "16R4", "GAL22V10B-25LP": "22V10", "16V8": "16V8", "PALCE20V8H": "20V8", "PAL18V10": "18V10", "PAL20L10": "20L10",
	} {
		d, err := pal.Find(marked)
		require.NoError(t, err, marked)
		require.Equal(t, want, d.Name, marked)
	}
	_, err := pal.Find("7400")
	require.ErrorContains(t, err, "known are 10H8")
}

// Registered outputs lie in the middle of the right side, as many as the name says (from
// memory of the data books); clock and enable are at the ends of the left side and below it.
func TestRegisteredOutputs(t *testing.T) {
	for _, d := range pal.Devices {
		if len(d.Registered) == 0 {
			continue
		}
		require.Len(t, d.Registered, int(d.Name[3]-'0'), d.Name)
		require.Equal(t, 1, d.Clock, d.Name)
		require.Equal(t, d.Pins/2+1, d.Enable, d.Name)
		first, last := d.Registered[0], d.Registered[len(d.Registered)-1]
		lowest := map[int]int{20: 12, 24: 15}[d.Pins] // of the eight outputs
		require.Equal(t, first-lowest, lowest+7-last, "%s: the registers are not in the middle", d.Name)
	}
}

const gate = `part 990010 "one gate"
kind gate
families 74S
source "made up"
package DIP20
    A 1 | U | 20 VCC
    B 2 |   | 19 Y
   NC 3 |   | 18 Z
   NC 4 |   | 17 NC
   NC 5 |   | 16 NC
   NC 6 |   | 15 NC
   NC 7 |   | 14 NC
   NC 8 |   | 13 NC
   NC 9 |   | 12 NC
  GND 10 |  | 11 NC
inputs A B
outputs Y
outputs three-state Z
Y = !(A & B)
Z = A ? B : z
`

// A table is held against the definition row by row, a pin that nobody drives among them.
func TestCompare(t *testing.T) {
	parts, err := part.Parse("gate.part", gate)
	require.NoError(t, err)
	v := parts[0].Variants[0]
	const l, h, z = logic.Zero, logic.One, logic.Z
	same := &identify.Table{Inputs: []int{1, 2}, Outputs: []int{18, 19}, Rows: [][]logic.Value{{z, h}, {l, h}, {z, h}, {h, l}}}
	found, err := pal.Compare(same, v, 20)
	require.NoError(t, err)
	require.Empty(t, found)

	other := &identify.Table{Inputs: []int{1, 2}, Outputs: []int{19}, Rows: [][]logic.Value{{h}, {l}, {h}, {h}}}
	found, err = pal.Compare(other, v, 20)
	require.NoError(t, err)
	require.Equal(t, []pal.Difference{
		{Pin: 18, Rows: 2, At: "1=H 2=L", Read: "z", Want: "0"}, {Pin: 19, Rows: 2, At: "1=H 2=L", Read: "0", Want: "1"},
	}, found)

	_, err = pal.Compare(other, v, 24)
	require.ErrorContains(t, err, "the definition has 20 pins, and the chip 24")
}
