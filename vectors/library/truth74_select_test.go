package library_test

import (
	"math/bits"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// Decoders with a polarity input, the shifter and the comparators with enables.
// Sources: the data sheets that the definitions name; the 74LS686 and 687 from memory.
var _ = addTruths74(map[string]truth{
	"74537": func(is part.Pins) levels {
		enabled := !is.Has(15) && is.Has(14)
		out := polar(either(enabled, number(is, 16, 17, 7, 6)), is.Has(4), 3, 2, 1, 19, 18, 8, 9, 11, 12, 13)
		release(out, is.Has(5), 3, 2, 1, 19, 18, 8, 9, 11, 12, 13)
		return out
	},
	"74538": func(is part.Pins) levels {
		enabled := !is.Has(16) && !is.Has(15) && is.Has(14) && is.Has(13)
		out := polar(either(enabled, number(is, 17, 7, 6)), is.Has(12), 3, 2, 1, 19, 18, 8, 9, 11)
		release(out, is.Has(4) || is.Has(5), 3, 2, 1, 19, 18, 8, 9, 11)
		return out
	},
	"74539": func(is part.Pins) levels {
		out := polar(either(!is.Has(15), number(is, 7, 6)), is.Has(13), 12, 11, 9, 8)
		release(out, is.Has(14), 12, 11, 9, 8)
		second := polar(either(!is.Has(16), number(is, 18, 17)), is.Has(4), 3, 2, 1, 19)
		release(second, is.Has(5), 3, 2, 1, 19)
		for pin, v := range second {
			out[pin] = v
		}
		return out
	},
	"74350": func(is part.Pins) levels {
		// I3 down to I-3 as one number: four of its bits, from I0 down by the places shifted
		inputs, places := number(is, 7, 6, 5, 4, 3, 2, 1), number(is, 9, 10)
		out := levels{}
		show(out, inputs>>(3-places)&15, 11, 12, 14, 15)
		release(out, is.Has(13), 11, 12, 14, 15)
		return out
	},
	"74748": func(is part.Pins) levels { return eightPriorities(is) },
	"74286": func(is part.Pins) levels {
		odd := bits.OnesCount(uint(number(is, 8, 9, 10, 11, 12, 13, 1, 2, 4)))%2 == 1
		if !is.Has(3) { // transmits
			return levels{6: logic.FromBool(!odd), 5: logic.One}
		}
		return levels{6: logic.Z, 5: logic.FromBool(odd != is.Has(6))}
	},
	"74686": func(is part.Pins) levels { return withEnables(is) },
	"74687": func(is part.Pins) levels { return sinks(withEnables(is)) },
	"74679": addressed,
})

// polar makes the output with a number high and all others low, or the reverse.
func polar(n int, reverse bool, pins ...int) levels {
	out := levels{}
	oneOf(out, n, !reverse, pins...)
	return out
}

func withEnables(is part.Pins) levels {
	p := number(is, 20, 17, 15, 13, 10, 8, 5, 3)
	q := number(is, 21, 18, 16, 14, 11, 9, 6, 4)
	return levels{
		1:  logic.FromBool(is.Has(23) || p <= q),
		22: logic.FromBool(is.Has(2) || p != q),
	}
}

// addressed is the 74ALS679: low where the lowest lines, as many as P says, are
// low and the others high. From 12 on the decoder of P is incomplete: it is then
// that of P less 4, with line 12 low, and for 15 all lines are low.
func addressed(is part.Pins) levels {
	address := number(is, 13, 12, 11, 9, 8, 7, 6, 5, 4, 3, 2, 1)
	return levels{18: logic.FromBool(is.Has(19) || address != addressOf(number(is, 17, 16, 15, 14)))}
}

func addressOf(p int) int {
	switch {
	case p == 15:
		return 0
	case p >= 12:
		return 0xFFF >> (p - 4) << (p - 4) & 0x7FF
	}
	return 0xFFF >> p << p
}

// Each address that the 74ALS679 answers to, and all those that differ from it in
// one line: what random levels hardly ever hit.
func TestAddressComparatorAnswersToItsAddressesAlone(t *testing.T) {
	typ, err := library.Open("74ALS679")
	require.NoError(t, err)
	c, err := logic.Compile(typ.Variant)
	require.NoError(t, err)
	m := c.NewMachine()
	address := []int{1, 2, 3, 4, 5, 6, 7, 8, 9, 11, 12, 13}
	answers := 0
	for p := range 16 {
		var is part.Pins
		for i, pin := range []int{14, 15, 16, 17} {
			is = is.With(pin, p>>i&1 != 0)
		}
		for i, pin := range address {
			is = is.With(pin, addressOf(p)>>i&1 != 0)
		}
		for _, other := range append([]int{0, 19}, address...) {
			to := is
			if other != 0 {
				to = is.With(other, !is.Has(other))
			}
			for _, pin := range c.InputPins {
				m.Set(pin, logic.Splat(logic.FromBool(to.Has(pin))))
			}
			m.Settle()
			got := m.Out(18).Lane(0)
			require.Equal(t, addressed(to)[18], got, "P is %d, pins high: %v", p, to)
			if got == logic.Zero {
				answers++
			}
		}
	}
	require.Equal(t, 16, answers)
}
