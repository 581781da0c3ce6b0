package logic_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/logic"
)

const stages = `
part 7499 "one level behind each output stage"
kind buffer
families 74
source "from memory"
package DIP8
    A  1 | U | 8 VCC
    P  2 |   | 7 C
    E  3 |   | 6 T
  GND  4 |   | 5 G
inputs A G
outputs P
outputs open-collector C
outputs open-emitter E
outputs three-state T
P = A
C = A
E = A
T = G ? A : z
`

// What each output stage makes of a level: an open collector does not pull high, an
// open emitter not low, and of what is not known an output may be either.
func TestOutputStages(t *testing.T) {
	const a, g, p, c, e, tri = 1, 5, 2, 7, 3, 6
	m := compile(t, stages).NewMachine()
	for _, row := range []struct{ a, g, p, c, e, t logic.Value }{
		{logic.Zero, logic.One, logic.Zero, logic.Zero, logic.Z, logic.Zero},
		{logic.One, logic.One, logic.One, logic.Z, logic.One, logic.One},
		{logic.Zero, logic.Zero, logic.Zero, logic.Zero, logic.Z, logic.Z},
		{logic.One, logic.Zero, logic.One, logic.Z, logic.One, logic.Z},
		{logic.X, logic.One, logic.X, logic.X, logic.X, logic.X},
		{logic.Z, logic.One, logic.X, logic.X, logic.X, logic.X}, // an input that is left open
	} {
		m.Set(a, logic.Splat(row.a))
		m.Set(g, logic.Splat(row.g))
		m.Settle()
		for pin, want := range map[int]logic.Value{p: row.p, c: row.c, e: row.e, tri: row.t} {
			for _, lane := range []int{0, 31, 63} {
				require.Equal(t, want.String(), m.Out(pin).Lane(lane).String(), "A=%s G=%s: pin %d, lane %d", row.a, row.g, pin, lane)
			}
		}
	}
}

const unstable = `
part 7498 "a latch that its own output turns over, and one beside it"
kind latch
families 74
source "from memory"
package DIP8
    A  1 | U | 8 VCC
    B  2 |   | 7 Q
   NC  3 |   | 6 R
  GND  4 |   | 5 NC
inputs A B
outputs Q R
register Q
    when A : !Q
register R
    when B : A
`

// A ring of an odd number of inversions has no level to rest at (textbooks): what
// oscillates is unknown, and what is beside it is not.
func TestWhatOscillatesIsUnknown(t *testing.T) {
	c := compile(t, unstable)
	for seed := range uint64(4) {
		m := c.NewMachine()
		m.Set(1, logic.Splat(logic.Zero))
		m.Set(2, logic.Splat(logic.One))
		m.PowerUp(seed)
		m.Settle()
		require.NotEqual(t, logic.X, m.Out(7).Lane(0), "at rest")
		m.Set(1, logic.Splat(logic.One))
		m.Settle()
		require.Equal(t, logic.X, m.Out(7).Lane(0), "seed %d", seed)
		require.Equal(t, logic.One, m.Out(6).Lane(0), "seed %d", seed)
	}
}
