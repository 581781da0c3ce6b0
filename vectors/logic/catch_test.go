package logic_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"chipassay/vectors/logic"
)

const jk = `
part 7472 "J-K flip-flop"
kind flip-flop
families 74
source "from memory"
package DIP14
     NC  1 | U | 14 VCC
   /CLR  2 |   | 13 /PRE
      J  3 |   | 12 CLK
     NC  4 |   | 11 NC
     NC  5 |   | 10 NC
     /Q  6 |   | 9  K
    GND  7 |   | 8  Q
inputs /CLR /PRE J K CLK
outputs Q /Q
unstable /PRE /CLR
register Q
    when !/PRE            : 1
    when !/CLR            : 0
    on EDGE CLK when J & K : !Q
    on EDGE CLK when J    : 1
    on EDGE CLK when K    : 0
/Q = !Q
`

// masterSlave is the J-K master-slave flip-flop of the textbooks in NAND gates (from
// memory): two gated latches, the outputs fed back to the first one's gates, the
// second one's clock inverted; preset and clear go to both latches and hold the
// gates of the first shut.
type masterSlave struct{ m, mn, q, qn bool }

func nand(in ...bool) bool {
	for _, v := range in {
		if !v {
			return true
		}
	}
	return false
}

func (f *masterSlave) settle(pre, clr, j, k, clk bool) {
	for range 10 { // more than the longest way through the gates
		s, r := nand(j, clk, f.qn, clr), nand(k, clk, f.q, pre)
		f.m, f.mn = nand(s, f.mn, pre), nand(r, f.m, clr)
		f.m = nand(s, f.mn, pre)
		s, r = nand(f.m, !clk), nand(f.mn, !clk)
		f.q, f.qn = nand(s, f.qn, pre), nand(r, f.q, clr)
		f.q = nand(s, f.qn, pre)
	}
}

// A register that catches ones does what the gates of a master-slave flip-flop do,
// whatever changes during the pulse.
func TestCatchesOnesAsNANDGatesDo(t *testing.T) {
	for _, edge := range []string{"pulse", "fall"} {
		rapid.Check(t, func(r *rapid.T) {
			c := compile(t, withEdge(jk, edge))
			require.NoError(t, c.CatchOnes(0))
			m := c.NewMachine()
			m.PowerUp(1)
			var gates masterSlave
			level := map[int]bool{2: false, 13: true, 3: false, 9: false, 12: false} // cleared first
			apply := func() {
				for pin, high := range level {
					m.Set(pin, logic.Splat(logic.FromBool(high)))
				}
				m.Settle()
				gates.settle(level[13], level[2], level[3], level[9], level[12])
			}
			apply()
			for range rapid.IntRange(1, 60).Draw(r, "changes") {
				pin := rapid.SampledFrom([]int{3, 9, 12, 3, 9, 12, 2, 13}).Draw(r, "pin")
				level[pin] = !level[pin]
				if !level[2] && !level[13] { // both at once are not followed
					level[pin] = true
				}
				apply()
				if got := m.Out(8).Lane(0); got != logic.FromBool(gates.q) {
					r.Fatalf("Q is %v, the gates' %v, at %v", got, gates.q, level)
				}
			}
		})
	}
}

// The same pulse of J during the clock pulse, on a flip-flop as it is defined: it
// takes what stands there at the edge. And caught, as data books warn of it.
func TestOneIsCaughtDuringThePulse(t *testing.T) {
	for _, c := range []struct {
		edge    string
		catches bool
		want    logic.Value
	}{{"fall", false, logic.Zero}, {"pulse", false, logic.Zero}, {"fall", true, logic.One}, {"pulse", true, logic.One}, {"rise", false, logic.Zero}} {
		circuit := compile(t, withEdge(jk, c.edge))
		if c.catches {
			require.NoError(t, circuit.CatchOnes(0))
		}
		m := circuit.NewMachine()
		m.PowerUp(1)
		for _, in := range []string{"01000", "11000", "11001", "11101", "11001", "11000"} { // /CLR /PRE J K CLK
			for i, pin := range []int{2, 13, 3, 9, 12} {
				m.Set(pin, logic.Splat(logic.FromBool(in[i] == '1')))
			}
			m.Settle()
		}
		require.Equal(t, c.want, m.Out(8).Lane(0), "%+v", c)
		require.Equal(t, c.want.Not(), m.Out(6).Lane(0), "%+v", c)
	}
}

// Acting at the rise, the pulse is the low level of the clock.
func TestCatchesOnesOfALowPulse(t *testing.T) {
	c := compile(t, withEdge(jk, "rise"))
	require.NoError(t, c.CatchOnes(0))
	m := c.NewMachine()
	m.PowerUp(1)
	for _, in := range []string{"01001", "11001", "11101", "11001", "11000", "11001"} { // J high while the clock is
		for i, pin := range []int{2, 13, 3, 9, 12} {
			m.Set(pin, logic.Splat(logic.FromBool(in[i] == '1')))
		}
		m.Settle()
	}
	require.Equal(t, logic.Zero, m.Out(8).Lane(0), "not in the pulse")
	for _, in := range []string{"11000", "11100", "11000", "11001"} {
		for i, pin := range []int{2, 13, 3, 9, 12} {
			m.Set(pin, logic.Splat(logic.FromBool(in[i] == '1')))
		}
		m.Settle()
	}
	require.Equal(t, logic.One, m.Out(8).Lane(0), "in the pulse")
}

// What is no J-K flip-flop has no ones to catch.
func TestOnlyJKCatchesOnes(t *testing.T) {
	require.ErrorIs(t, compile(t, dff).CatchOnes(0), logic.ErrNoMaster)
}

func withEdge(text, edge string) string { return strings.ReplaceAll(text, "EDGE", edge) }
