package library_test

import (
	"math/bits"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// A truth is a combinational part in plain Go: what it drives at each output
// pin for the levels at its inputs; logic.X where its data book does not say.
// Pins are given by number, so that a truth checks the pinout too. All from memory
// of the CMOS data books.
type truth func(is part.Pins) map[int]logic.Value

// Every combinational part of the 4000 series does what its truth says, for all
// combinations of up to 14 inputs, and for walking and random ones of more.
func TestCMOSPartsDoAsTheirTruths(t *testing.T) {
	for numbers, of := range truths4000 {
		for _, n := range slices.Sorted(slices.Values(splitNumbers(numbers))) {
			t.Run(n, func(t *testing.T) {
				p, err := library.Builtin().Find(n)
				require.NoError(t, err)
				require.NotNil(t, p, "no definition")
				for _, v := range p.Variants {
					compareWithTruth(t, v, of)
				}
			})
		}
	}
}

func compareWithTruth(t *testing.T, v *part.Variant, of truth) {
	t.Helper()
	c, err := logic.Compile(v)
	require.NoError(t, err)
	require.Empty(t, c.Registers)
	var free []int
	var held part.Pins
	for _, p := range v.Pins {
		switch {
		case p.Tied == part.TiedHigh:
			held = held.With(p.Number, true)
		case p.Drivable() && p.Tied == part.NotTied:
			free = append(free, p.Number)
		}
	}
	m := c.NewMachine()
	compared := 0
	for _, is := range combinations(free, held) {
		for _, p := range v.Pins {
			if p.Drivable() {
				m.Set(p.Number, logic.Splat(logic.FromBool(is.Has(p.Number))))
			}
		}
		m.Settle()
		want := of(is)
		for _, o := range c.Outputs {
			w, ok := want[o.Pin]
			if v.Pins[o.Pin-1].Untested != "" || ok && w == logic.X {
				continue
			}
			if !ok {
				t.Fatalf("the truth says nothing of pin %d", o.Pin)
			}
			compared++
			if got := m.Out(o.Pin).Lane(0); got != w {
				t.Fatalf("pin %d (%s): the definition says %v, the data book %v; pins high: %v", o.Pin, v.Pins[o.Pin-1].Name, got, w, is)
			}
		}
	}
	require.Positive(t, compared)
}

// combinations gives all levels of up to 14 pins, and walking and random ones of more.
func combinations(free []int, held part.Pins) []part.Pins {
	set := func(word uint64) part.Pins {
		is := held
		for i, pin := range free {
			is = is.With(pin, word>>i&1 != 0)
		}
		return is
	}
	var all []part.Pins
	if len(free) <= 14 {
		for word := range uint64(1) << len(free) {
			all = append(all, set(word))
		}
		return all
	}
	random := rand.New(rand.NewPCG(4000, uint64(len(free))))
	for i := range free {
		all = append(all, set(1<<i), set(^(uint64(1) << i)))
	}
	for range 10_000 {
		all = append(all, set(random.Uint64()))
	}
	return all
}

// lev is the level of a pin as a number.
func lev(is part.Pins, pin int) int {
	if is.Has(pin) {
		return 1
	}
	return 0
}

// put gives a pin a level: 0, 1, or unknown for a negative one.
func put(out map[int]logic.Value, pin, level int) {
	out[pin] = logic.X
	if level >= 0 {
		out[pin] = logic.FromBool(level != 0)
	}
}

// putAll gives pins levels, one each.
func putAll(out map[int]logic.Value, levels []int, pins ...int) {
	for i, pin := range pins {
		put(out, pin, levels[i])
	}
}

// release makes pins high-impedance if off is true.
func release(out map[int]logic.Value, off bool, pins ...int) {
	if off {
		for _, pin := range pins {
			out[pin] = logic.Z
		}
	}
}

// oneOf gives the pin with a number a level, and all other pins the other level.
func oneOf(out map[int]logic.Value, n int, active bool, pins ...int) {
	for i, pin := range pins {
		out[pin] = logic.FromBool(i == n == active)
	}
}

// The shapes of the digits as their lit segments. A six without a and a nine without d have no tails.
var digits = []string{"abcdef", "bc", "abdeg", "abcdg", "bcfg", "acdfg", "acdefg", "abc", "abcdefg", "abcdfg"}

// segments shows lit segments at the pins of a to g; those in unsure are not specified.
func segments(out map[int]logic.Value, lit, unsure string, pins [7]int) {
	for i, pin := range pins {
		name := "abcdefg"[i : i+1]
		out[pin] = logic.FromBool(contains(lit, name))
		if contains(unsure, name) {
			out[pin] = logic.X
		}
	}
}

func contains(set, name string) bool { return bits.OnesCount64(letters(set)&letters(name)) > 0 }

func letters(set string) (mask uint64) {
	for _, r := range set {
		mask |= 1 << (r - 'a')
	}
	return mask
}

// tails are the segments in which makers' sixes and nines differ.
func tails(n int) string {
	switch n {
	case 6:
		return "a"
	case 9:
		return "d"
	}
	return ""
}
