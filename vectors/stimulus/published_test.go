package stimulus_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// divider divides by 2^16, with a test input that makes it two dividers by 256: what
// a long divider has for its test.
const divider = `part 4999 "16-stage divider"
kind counter
families 4000B
source "made up"
package DIP8
     CLK  1 | U | 8 VDD
       R  2 |   | 7 Q
       T  3 |   | 6 NC
     VSS  4 |   | 5 E
inputs  CLK R T E
outputs Q
never T & E "made up"
stable T while CLK
register low[8]
    when R             : 0
    on rise CLK when E : low + 1
clock = T ? CLK : low[7]
register high[8]
    when R        : 0
    on fall clock : high + 1
Q = high[7]
`

const dividerTest = `sequence "functional test sequence"
    step   R=1 E=1
    step   R=0
    step   E=0, T=1
    repeat 128 CLK=1, CLK=0
`

func stepsOf(t *testing.T, text string) (*stimulus.Sequence, error) {
	t.Helper()
	parts, err := part.Parse("divider.part", text)
	require.NoError(t, err)
	c, err := logic.Compile(parts[0].Variants[0])
	require.NoError(t, err)
	return stimulus.For(c)
}

func TestSequencesOfADefinitionComeFirst(t *testing.T) {
	s, err := stepsOf(t, divider+dividerTest)
	require.NoError(t, err)
	require.Contains(t, s.Method, "functional test sequence: 260 steps; by mode")
	require.GreaterOrEqual(t, s.Fixed, 260)
	// pins 1 2 3 5 are CLK R T E
	clk, r, e, tt := part.PinSet(1), part.PinSet(2), part.PinSet(5), part.PinSet(3)
	for i, want := range []part.Pins{r | e, e, 0, tt, tt | clk, tt} {
		require.Equal(t, want, s.Steps[i].Drive, "step %d", i+1)
	}
	q := part.PinSet(7)
	require.Equal(t, q, s.Steps[0].Compared, "low after reset")
	require.Zero(t, s.Steps[257].High&q, "the 127th fall")
	require.Equal(t, q, s.Steps[259].High, "the 128th fall fills half the section")
	require.Less(t, len(s.Steps), 25_000)
}

// Without a sequence the whole cycle of 65,536 pulses is run.
func TestWithoutASequenceTheLongCycleIsRun(t *testing.T) {
	s, err := stepsOf(t, divider)
	require.NoError(t, err)
	require.Greater(t, len(s.Steps), 131_072)
	require.NotContains(t, s.Method, "sequence:")
}

func TestAnIllegalStepOfASequenceNamesItsLine(t *testing.T) {
	for _, test := range []struct{ step, want string }{
		{"T=1", "part 4999, divider.part:24: step T = 1: this step is not legal: its levels are among those that never may be applied"},
		{"E=0, R=0 CLK=1", "part 4999, divider.part:24: step E = 0, R = 0 CLK = 1: this step is not legal: CLK R is a clock, a set, a clear or an enable, and changes alone"},
		{"E=0, CLK=1, T=1", "part 4999, divider.part:24: step E = 0, CLK = 1, T = 1: this step is not legal: T must stay as it is there"},
	} {
		_, err := stepsOf(t, divider+"sequence \"bad\"\n    step R=1 E=1\n    step "+test.step+"\n")
		require.EqualError(t, err, test.want)
	}
}
