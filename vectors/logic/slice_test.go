package logic_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// Of two flip-flops with a common clock (a 74174 in small) each is a slice: a fault of
// one is none of the other's business. What both depend on is in both.
func TestASliceIsWhatBearsOnTheOutputsThatANodeReaches(t *testing.T) {
	parts, err := part.Parse("two.part", `part 7499 "two flip-flops"
kind flip-flop
families 74
source "made up"
package DIP8
    1D  1 | U | 8 VCC
    2D  2 |   | 7 1Q
   CLK  3 |   | 6 2Q
   GND  4 |   | 5 NC
inputs  1D 2D CLK
outputs 1Q 2Q
gate 1 2
    register #Q
        on rise CLK : #D
`)
	require.NoError(t, err)
	c, err := logic.Compile(parts[0].Variants[0])
	require.NoError(t, err)
	require.Len(t, c.Components(), 1)

	first := c.Slice(c.Inputs[1])
	require.Equal(t, part.PinSet(7), first.Outputs)
	require.Equal(t, part.PinSet(1, 3), first.Inputs)
	require.Len(t, first.State, 1)
	require.Contains(t, first.Nodes, c.Inputs[1])
	require.NotContains(t, first.Nodes, c.Inputs[2])

	both := c.Slice(c.Inputs[3])
	require.Equal(t, part.PinSet(6, 7), both.Outputs)
	require.Equal(t, part.PinSet(1, 2, 3), both.Inputs)
	require.Len(t, both.State, 2)
}
