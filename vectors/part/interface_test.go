package part_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/part"
)

const darlington = `part 2999 "two Darlington drivers"
kind driver
families DARLINGTON
source "from memory"

package DIP6
     1B  1 | U | 6  1C
     2B  2 |   | 5  2C
    GND  3 |   | 4  COM

inputs  1B 2B
outputs open-collector 1C 2C
`

const function = `
gate 1 2
    #C = !#B
`

// A part without a supply names the pin that stands where others have VCC.
func TestPartsWithoutASupply(t *testing.T) {
	parts, err := part.Parse("d.part", darlington+"unsupplied COM\n"+function)
	require.NoError(t, err)
	v := parts[0].Variants[0]
	require.True(t, v.Unsupplied)
	require.Equal(t, 4, v.VCC())
	require.Equal(t, 3, v.GND())
	require.Equal(t, "2999", part.Type{Variant: v, Family: v.Families[0]}.Name())
	require.True(t, part.Type{Variant: v, Family: v.Families[0]}.Heavy())
	for text, message := range map[string]string{
		darlington + function:                                  "pin 4 (COM) has no role",
		darlington + "unsupplied COM 1B\n" + function:          "name the one pin",
		darlington + "unsupplied 1B\n" + function:              "pin 1B is input",
		darlington + "unsupplied GND\n" + function:             "pin GND is ground",
		darlington + "unsupplied VCC\n" + function:             "the package has no pin VCC",
		darlington + "inputs COM\nunsupplied COM\n" + function: "pin COM is input",
	} {
		_, err := part.Parse("d.part", text)
		require.ErrorContains(t, err, message, text)
	}
}

const receiver = `part 2998 "line receiver"
kind driver
families 74LS
source "from memory"

package DIP6
      A  1 | U | 6  VCC
      B  2 |   | 5  Y
    GND  3 |   | 4  G

inputs  A B G
outputs three-state Y
`

const compares = `
Y = G ? (A == B ? x : A) : z
`

// The inputs of a balanced line name each other, have no unit load and no junction.
func TestInputsOfBalancedLines(t *testing.T) {
	parts, err := part.Parse("r.part", receiver+"differential A B\n"+compares)
	require.NoError(t, err)
	v := parts[0].Variants[0]
	for pin, opposite := range map[string]int{"A": 2, "B": 1, "G": 0} {
		p := v.Pin(pin)
		require.Equal(t, opposite, p.Opposite, pin)
		require.Equal(t, opposite != 0, p.Receiver, pin)
		require.Equal(t, opposite != 0, p.Diodeless, pin)
		require.Equal(t, opposite != 0, p.LoadIn(part.FamilyByName("74LS")) == 0, pin)
	}
	for text, message := range map[string]string{
		"differential A\n":   "name the two inputs",
		"differential A A\n": "name the two inputs",
		"differential A Y\n": "pin Y is output",
	} {
		_, err := part.Parse("r.part", receiver+text+compares)
		require.ErrorContains(t, err, message, text)
	}
}

// A receiver of a single line has no unit load, whatever a load statement says.
func TestReceiversHaveNoUnitLoad(t *testing.T) {
	parts, err := part.Parse("r.part", receiver+"load 2 A\nreceiver A\n"+compares)
	require.NoError(t, err)
	p := parts[0].Variants[0].Pin("A")
	require.True(t, p.Receiver)
	require.False(t, p.Diodeless)
	require.Zero(t, p.LoadIn(part.FamilyByName("74LS")))
}
