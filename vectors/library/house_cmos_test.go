package library_test

import (
	"maps"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// Further parts of the 4000 series, by pin numbers, from memory of the CMOS data books
// unless a source is named.
func init() {
	maps.Copy(truths4000, map[string]truth{
		"4501": func(is part.Pins) levels {
			return levels{13: nand(1, 2, 3, 4)(is), 10: nand(5, 6, 7, 9)(is), 14: logic.X, 15: logic.X}
		},
		"4104": func(is part.Pins) levels {
			out := levels{}
			for _, p := range [][3]int{{4, 3, 2}, {5, 6, 7}, {11, 10, 9}, {12, 13, 14}} {
				put(out, p[1], lev(is, p[0]))
				put(out, p[2], 1-lev(is, p[0]))
				release(out, !is.Has(15), p[1], p[2])
			}
			return out
		},
		// drains of the pairs with gates 6 and 3, and the joined ones of gate 10
		"4007": func(is part.Pins) levels {
			out := levels{13: logic.Z, 8: logic.Z, 1: logic.Z, 5: logic.Z}
			for gate, drains := range map[int][2]int{6: {13, 8}, 3: {1, 5}} {
				if is.Has(gate) {
					out[drains[1]] = logic.Zero // through the n-channel
				} else {
					out[drains[0]] = logic.One // through the p-channel
				}
			}
			put(out, 12, 1-lev(is, 10))
			return out
		},
	})
	maps.Copy(states4000, map[string]modelOf{
		"40108": file40108,
		"4562":  delays4562,
		"4557":  delay4557,
		"40100": ends40100,
		"4054":  crystal4054,
		"4544":  segmentLatch4544,
		"4089":  rates4089,
	})
}

// file40108: four words of four bits. Source: CD40108BMS data sheet, December 1992, read.
func file40108(*part.Variant) model {
	words := []int{-1, -1, -1, -1}
	return func(was, is part.Pins) map[int]logic.Value {
		if rose(was, is, 16) && is.Has(15) {
			words[number(is, 9, 8)] = number(is, 17, 18, 19, 20)
		}
		out := levels{}
		show(out, words[number(is, 14, 13)], 7, 6, 5, 4)
		release(out, !is.Has(3), 7, 6, 5, 4)
		show(out, words[number(is, 10, 11)], 1, 2, 23, 22)
		release(out, !is.Has(21), 1, 2, 23, 22)
		return out
	}
}

// delays4562 keeps all that was taken in: each tap is so many clocks late.
func delays4562(*part.Variant) model {
	var taken []int
	return func(was, is part.Pins) map[int]logic.Value {
		if rose(was, is, 5) {
			taken = append(taken, lev(is, 12))
		}
		out := levels{}
		for clocks, pin := range map[int]int{16: 10, 32: 13, 48: 9, 64: 1, 80: 8, 96: 2, 112: 6, 128: 3} {
			put(out, pin, late(taken, clocks, -1))
		}
		return out
	}
}

// late is what was taken in some clocks ago, or else what was there before.
func late(taken []int, clocks, before int) int {
	if len(taken) < clocks {
		return before
	}
	return taken[len(taken)-clocks]
}

// delay4557 is as many clocks late as its length, which is the sum of the length inputs
// and one. Source: MC14557B data sheet, Motorola CMOS Logic Data, read.
func delay4557(*part.Variant) model {
	var taken []int
	before := -1
	return func(was, is part.Pins) map[int]logic.Value {
		runs := func(at part.Pins) bool { return at.Has(4) && !at.Has(5) }
		switch {
		case is.Has(3):
			taken, before = nil, 0
		case runs(is) && !runs(was) && is.Has(9):
			taken = append(taken, lev(is, 7))
		case runs(is) && !runs(was):
			taken = append(taken, lev(is, 6))
		}
		length := 1
		for add, pin := range map[int]int{1: 2, 2: 1, 4: 15, 8: 14, 16: 13, 32: 12} {
			length += add * lev(is, pin)
		}
		level := late(taken, length, before)
		if before < 0 {
			level = -1 // before the first reset the length may have changed
		}
		out := levels{}
		put(out, 10, level)
		put(out, 11, opposite(level))
		return out
	}
}

// ends40100 shows the first and the last of 32 stages as they were when the clock was last low.
func ends40100(*part.Variant) model {
	row := newLevelRow(32)
	left, right := -1, -1
	return func(was, is part.Pins) map[int]logic.Value {
		if rose(was, is, 3) && !is.Has(2) {
			rounds := !is.Has(9)
			switch {
			case is.Has(13) && rounds:
				row.down(row[0])
			case is.Has(13):
				row.down(lev(is, 6))
			case rounds:
				row.up(row[31])
			default:
				row.up(lev(is, 11))
			}
		}
		if !is.Has(3) {
			left, right = row[0], row[31]
		}
		out := levels{}
		put(out, 4, left)
		put(out, 12, right)
		return out
	}
}

// crystal4054 has a latch and a driver for each segment; pin 2 turns them all.
func crystal4054(*part.Variant) model {
	q := stages(4)
	return func(_, is part.Pins) map[int]logic.Value {
		out := levels{}
		for i, p := range [][3]int{{9, 10, 6}, {11, 12, 5}, {13, 14, 4}, {15, 1, 3}} {
			if is.Has(p[1]) {
				q[i] = lev(is, p[0])
			}
			put(out, p[2], q[i])
			if q[i] >= 0 {
				put(out, p[2], q[i]^lev(is, 2))
			}
		}
		return out
	}
}

// segmentLatch4544 is the 4543 with a zero that may be dark.
func segmentLatch4544(*part.Variant) model {
	n := -1
	return func(_, is part.Pins) map[int]logic.Value {
		if is.Has(1) {
			n = number(is, 4, 2, 3, 5)
		}
		pins := [7]int{11, 12, 13, 14, 15, 16, 17}
		out := unknown(append(pins[:], 8)...)
		dark := n == 0 && is.Has(10)
		switch {
		case is.Has(7) || n > 9 || dark && is.Has(1):
			segments(out, "", "", pins)
		case n >= 0 && !dark:
			segments(out, digits[n], tails(n), pins)
		}
		for _, pin := range pins {
			if is.Has(6) {
				out[pin] = out[pin].Not()
			}
		}
		if is.Has(1) && !is.Has(7) {
			out[8] = logic.FromBool(dark)
		}
		return out
	}
}

// The counts of a 4089 at which each rate input gives a pulse, D first: 8, 4, 2 and 1
// of 16; 15 is left to the next chip.
var counts4089 = [][]int{{0, 2, 4, 6, 8, 10, 12, 14}, {1, 5, 9, 13}, {3, 11}, {7}}

func rates4089(*part.Variant) model {
	n := -1
	return func(was, is part.Pins) map[int]logic.Value {
		switch {
		case is.Has(13):
			n = 0
		case is.Has(4):
			n = 15
		case rose(was, is, 9) && !is.Has(11):
			n = following(n, 16)
		}
		pulse := 0
		switch {
		case is.Has(10): // strobed off
		case is.Has(11):
			pulse = -1
		case is.Has(9):
		case n < 0:
			pulse = -1
		default:
			for i, pin := range []int{3, 2, 15, 14} {
				if is.Has(pin) && slices.Contains(counts4089[i], n) {
					pulse = 1
				}
			}
		}
		out := levels{}
		put(out, 6, pulse)
		put(out, 5, opposite(pulse))
		if is.Has(12) {
			out[6] = logic.One
		}
		carry(out, 1, n, 16, 15, true, true)
		carry(out, 7, n, 16, 15, !is.Has(11), false)
		return out
	}
}

// In 16 clocks a 4089 gives as many pulses as its number says. Source: CD4089BMS data
// sheet, December 1992, read: the output rate is the clock's times 1/16 of the binary input.
func TestRateMultiplierGivesAsManyPulsesAsItsNumber(t *testing.T) {
	p, err := library.Builtin().Find("4089")
	require.NoError(t, err)
	c, err := logic.Compile(p.Variants[0])
	require.NoError(t, err)
	for number := range 16 {
		m := c.NewMachine()
		set := func(pin int, high bool) {
			m.Set(pin, logic.Splat(logic.FromBool(high)))
			m.Settle()
		}
		for _, pin := range []int{4, 9, 10, 11, 12} {
			set(pin, false)
		}
		for i, pin := range []int{14, 15, 2, 3} {
			set(pin, number>>i&1 != 0)
		}
		set(13, true)
		set(13, false)
		pulses := 0
		for range 16 {
			if m.Out(6).Lane(0) == logic.One {
				pulses++
			}
			set(9, true)
			require.Equal(t, logic.Zero, m.Out(6).Lane(0), "a pulse ends where the clock rises")
			set(9, false)
		}
		require.Equal(t, number, pulses)
	}
}
