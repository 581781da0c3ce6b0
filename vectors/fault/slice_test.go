package fault

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// channels are four that share a clock and a reset, with too many states together. In
// each two counters count alike, so that they never differ.
const channels = `part 4999 "four twins of counters"
kind counter
families 4000B
source "made up"
package DIP12
     D1  1 | U | 12 VDD
     D2  2 |   | 11 Q1
     D3  3 |   | 10 Q2
     D4  4 |   | 9  Q3
    CLK  5 |   | 8  Q4
    VSS  6 |   | 7  R
inputs  D1..D4 CLK R
outputs Q1..Q4
gate 1..4
    register one#[3]
        when R               : 0
        on rise CLK when D#  : one# + 1
    register other#[3]
        when R               : 0
        on rise CLK when D#  : other# + 1
    differ# = one# != other#
    Q# = one#[2] ^ differ#
`

// What would only show if twins differed cannot be shown; each channel is gone through
// by itself to prove it.
func TestChannelsThatShareAClockAreProvenOneByOne(t *testing.T) {
	parts, err := part.Parse("test.part", channels)
	require.NoError(t, err)
	c, err := logic.Compile(parts[0].Variants[0])
	require.NoError(t, err)
	s, err := stimulus.For(c)
	require.NoError(t, err)
	s.Steps = s.Steps[:200]
	x := Examine(c, part.FamilyByName("4000B"), s)
	proven := map[string]*bool{}
	var open []*suspect
	for i, class := range x.model.Classes {
		name := x.model.Name(class[0])
		switch name {
		case "differ1 stuck at 0", "differ4 stuck at 0", "Q2 stuck at 1":
			proven[name] = &x.lineProven[i]
			open = append(open, &suspect{breaker: class[0], node: class[0].Node, evidence: &x.lines[i], proven: &x.lineProven[i]})
		}
	}
	require.Len(t, open, 3)
	x.corner(open, anywhere)
	require.True(t, *proven["differ1 stuck at 0"])
	require.True(t, *proven["differ4 stuck at 0"])
	require.False(t, *proven["Q2 stuck at 1"])
}
