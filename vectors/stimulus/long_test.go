package stimulus_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// Stage n of a binary divider first goes high at count 2^(n-1) (by arithmetic): the
// 18th of one in a long test only.
func TestALongTestReachesEveryStageOfADivider(t *testing.T) {
	parts, err := part.Parse("divider.part", `
part 9900 "18-stage divider"
kind counter
families 4000B
source "from memory"
package DIP6
    CLK 1 | U | 6 VDD
    R 2 |   | 5 Q18
    VSS 3 | | 4 Q4
inputs CLK R
outputs Q4 Q18
register count[18]
    when R      : 0
    on fall CLK : count + 1
Q4 = count[3]
Q18 = count[17]
`)
	require.NoError(t, err)
	c, err := logic.Compile(parts[0].Variants[0])
	require.NoError(t, err)
	ordinary, err := stimulus.For(c)
	require.NoError(t, err)
	require.Less(t, len(ordinary.Steps), 1<<17)
	require.Zero(t, highAt(ordinary, 5))
	long, err := stimulus.Long(c)
	require.NoError(t, err)
	require.GreaterOrEqual(t, highAt(long, 5), 1<<17)
}

// highAt is the number of falls of pin 1 before another pin is first expected high, 0 for never.
func highAt(s *stimulus.Sequence, pin int) (falls int) {
	for i, st := range s.Steps {
		if i > 0 && s.Steps[i-1].Drive.Has(1) && !st.Drive.Has(1) {
			falls++
		}
		if st.High.Has(pin) {
			return falls
		}
	}
	return 0
}
