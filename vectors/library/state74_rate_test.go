package library_test

import (
	"math/bits"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

var _ = addStates74(map[string]modelOf{"7497": rateMultiplier97})

// rateMultiplier97 is a 7497: count n belongs to the rate input of as many pulses as
// counts end, in binary, in the same number of ones; 63, the last, belongs to none.
// Active levels by the DM7497 data sheet (June 1989), pin numbers and counts from memory.
func rateMultiplier97(*part.Variant) model {
	rates := []int{3, 2, 15, 14, 1, 4} // of 32, 16, 8, 4, 2 and 1 pulses
	n := -1
	return func(was, is part.Pins) map[int]logic.Value {
		switch {
		case is.Has(13):
			n = 0
		case rose(was, is, 9) && !is.Has(11):
			n = following(n, 64)
		}
		pulse := 0
		switch {
		case is.Has(9) || is.Has(10) || number(is, rates...) == 0:
		case n < 0:
			pulse = -1
		case n < 63:
			pulse = lev(is, rates[bits.TrailingZeros(^uint(n))])
		}
		out := unknown(5, 6)
		if pulse >= 0 {
			put(out, 5, 1-pulse)
			put(out, 6, pulse)
		}
		if !is.Has(12) {
			out[6] = logic.One
		}
		carry(out, 7, n, 64, 63, !is.Has(11), false)
		return out
	}
}

// Each rate input of a 7497 alone gives, of 64 clocks, the pulses of its weight, and
// all together 63: fout = M fin / 64 with M = 32 F + 16 E + 8 D + 4 C + 2 B + A
// (SN7497 data sheet, from memory).
func TestRateInputsGiveThePulsesOfTheirWeight(t *testing.T) {
	p, err := library.Builtin().Find("7497")
	require.NoError(t, err)
	v := p.Variants[0]
	c, err := logic.Compile(v)
	require.NoError(t, err)
	for rates, want := range map[string]int{"A": 1, "B": 2, "C": 4, "D": 8, "E": 16, "F": 32, "ABCDEF": 63, "": 0} {
		m := c.NewMachine()
		set := func(name string, high bool) { m.Set(v.Pin(name).Number, logic.Splat(logic.FromBool(high))) }
		for _, name := range []string{"A", "B", "C", "D", "E", "F"} {
			set(name, strings.Contains(rates, name))
		}
		set("/EN", false)
		set("/STB", false)
		set("UNITY", true)
		set("CLK", true)
		set("CLR", true)
		m.Settle()
		set("CLR", false)
		m.Settle()
		pulses := 0
		for range 64 {
			set("CLK", false)
			m.Settle()
			if m.Out(v.Pin("Y").Number).Lane(0) == logic.One {
				require.Equal(t, logic.Zero, m.Out(v.Pin("Z").Number).Lane(0))
				pulses++
			}
			set("CLK", true)
			m.Settle()
		}
		require.Equal(t, want, pulses, "rates %q", rates)
	}
}
