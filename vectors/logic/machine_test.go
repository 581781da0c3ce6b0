package logic_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

const dff = `
part 7474 "dual D flip-flop"
kind flip-flop
families 74 74LS
source "from memory"
package DIP14
   /1CLR  1 | U | 14 VCC
      1D  2 |   | 13 /2CLR
    1CLK  3 |   | 12 2D
   /1PRE  4 |   | 11 2CLK
      1Q  5 |   | 10 /2PRE
     /1Q  6 |   | 9  2Q
     GND  7 |   | 8  /2Q
inputs /1CLR /2CLR 1D 2D 1CLK 2CLK /1PRE /2PRE
outputs 1Q 2Q /1Q /2Q
unstable /1PRE /1CLR
gate 1..2
    table
        /#PRE /#CLR #CLK #D | #Q  /#Q
         L     H    X    X  | H   L
         H     L    X    X  | L   H
         L     L    X    X  | H   H
         H     H    ^    H  | H   L
         H     H    ^    L  | L   H
         H     H    L    X  | Q0  /Q0
`

const ripple = `
part 7493 "4-bit ripple counter"
kind counter
families 74
source "from memory"
package DIP14
   CKB  1 | U | 14 CKA
  R01  2 |   | 13 NC
  R02  3 |   | 12 QA
   NC  4 |   | 11 QD
  VCC  5 |   | 10 GND
   NC  6 |   | 9 QB
   NC  7 |   | 8 QC
inputs CKA CKB R01 R02
outputs QA QB QC QD
clear = R01 & R02
register QA
    when clear : 0
    on fall CKA : !QA
register QB
    when clear : 0
    on fall CKB : !QB
register QC
    when clear : 0
    on fall QB : !QC
register QD
    when clear : 0
    on fall QC : !QD
`

func compile(t *testing.T, text string) *logic.Circuit {
	t.Helper()
	parts, err := part.Parse("test.part", text)
	require.NoError(t, err)
	c, err := logic.Compile(parts[0].Variants[0])
	require.NoError(t, err)
	return c
}

// The function table of the 7474 as the TTL data books print it (from memory).
func TestFlipFlopFollowsItsTable(t *testing.T) {
	m := compile(t, dff).NewMachine()
	set := func(clr, pre, clk, d logic.Value) {
		m.Set(1, logic.Splat(clr))
		m.Set(4, logic.Splat(pre))
		m.Set(3, logic.Splat(clk))
		m.Set(2, logic.Splat(d))
		m.Settle()
	}
	out := func() string { return m.Out(5).Lane(7).String() + m.Out(6).Lane(7).String() }
	set(logic.One, logic.One, logic.Zero, logic.One)
	require.Equal(t, "xx", out(), "nothing is known before the first preset, clear or clock")
	set(logic.One, logic.Zero, logic.Zero, logic.Zero)
	require.Equal(t, "10", out(), "preset")
	set(logic.Zero, logic.Zero, logic.Zero, logic.Zero)
	require.Equal(t, "11", out(), "both asserted: both outputs high")
	set(logic.Zero, logic.One, logic.Zero, logic.Zero)
	require.Equal(t, "01", out(), "clear")
	set(logic.One, logic.One, logic.Zero, logic.One)
	require.Equal(t, "01", out(), "hold while the clock is low")
	set(logic.One, logic.One, logic.One, logic.One)
	require.Equal(t, "10", out(), "a rising edge takes D")
	set(logic.One, logic.One, logic.One, logic.Zero)
	require.Equal(t, "10", out(), "hold while the clock is high")
	set(logic.One, logic.One, logic.Zero, logic.Zero)
	require.Equal(t, "10", out(), "a falling edge does nothing")
	set(logic.One, logic.One, logic.X, logic.Zero)
	require.Equal(t, "xx", out(), "an unknown clock may have had an edge")
}

func TestRippleCounterCountsInBinary(t *testing.T) {
	m := compile(t, ripple).NewMachine()
	m.PowerUp(1)
	set := func(pin int, v logic.Value) { m.Set(pin, logic.Splat(v)); m.Settle() }
	for _, pin := range []int{1, 14, 2, 3} {
		set(pin, logic.One)
	}
	set(2, logic.Zero)
	for n := 1; n <= 40; n++ {
		// QA feeds CKB, as the data sheet's 4-bit connection has it
		set(14, logic.Zero)
		set(1, m.Out(12).Lane(0))
		got := 0
		for i, pin := range []int{12, 9, 8, 11} {
			if m.Out(pin).Lane(0) == logic.One {
				got |= 1 << i
			}
		}
		require.Equal(t, n%16, got, "after %d clocks", n)
		set(14, logic.One)
		set(1, m.Out(12).Lane(0))
	}
}
