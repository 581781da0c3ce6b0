package match_test

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/fault"
	"chipassay/vectors/match"
	"chipassay/vectors/part"
)

// gateInputs are those of quad 2-input gates with outputs at 3, 6, 8 and 11.
const gateInputs = part.Pins(1<<0 | 1<<1 | 1<<3 | 1<<4 | 1<<8 | 1<<9 | 1<<11 | 1<<12)

// An AND and an OR are told apart by the levels at which one input is low and the other
// high (truth tables): from both high, one change does it; an AND and a NAND, which
// differ everywhere, by any.
func TestTheShortestWayIsFound(t *testing.T) {
	fits := fitsOf(t, "7408", "7432")
	way := fits.Split(fits.Rank(candidates(t, "7408", "7432")), gateInputs, 0, 8, rand.New(rand.NewPCG(1, 1)))
	require.Len(t, way, 1)
	require.True(t, gateInputs.Has(way[0]))
	same := fits.Rank(candidates(t, "7408", "7408"))
	require.Empty(t, fits.Split(same, gateInputs, 0, 32, rand.New(rand.NewPCG(1, 1))), "nothing tells a part from itself")
	require.Empty(t, fits.Split(same, 0, 0, 32, rand.New(rand.NewPCG(1, 1))), "nothing is held")
}

// fitsOf is a trace that all of some AND and OR gates explain: all inputs high.
func fitsOf(t *testing.T, numbers ...string) match.Trace {
	t.Helper()
	return match.Trace{Pins: 14, VCC: 14, GND: 7, Steps: []match.Step{held(0, part.PinSet(3, 6, 8, 11))}}
}

// A NAND whose first output is stuck low (truth table of a 7400 otherwise) is a 7400 with that
// fault, and no good part.
func TestAStuckOutputIsNamed(t *testing.T) {
	trace := match.Trace{Pins: 14, VCC: 14, GND: 7}
	for _, low := range []part.Pins{0, part.PinSet(1), part.PinSet(1, 4), part.PinSet(4), part.PinSet(9), part.PinSet(12), part.PinSet(1, 2, 12), part.PinSet(5, 10, 13)} {
		outputs := part.Pins(0)
		for y, in := range map[int]part.Pins{6: part.PinSet(4, 5), 8: part.PinSet(9, 10), 11: part.PinSet(12, 13)} {
			outputs = outputs.With(y, low&in != 0)
		}
		trace.Steps = append(trace.Steps, held(low, outputs)) // 3 is low whatever its inputs
	}
	all := candidates(t, "7400", "7402", "7404", "7408", "7410", "7432", "7486")
	require.NotZero(t, trace.Rank(all)[0].Mismatches)
	broken := trace.RankBroken(all, match.Inputs{Bipolar: true})
	require.Equal(t, "7400", broken[0].Variant.Part.Number)
	require.Zero(t, broken[0].Mismatches)
	require.Contains(t, broken[0].Faults, fault.Fault{Kind: fault.StuckLow, Pin: 3})
	// with pin 3 without contact before power, only its open bond explains the chip
	for _, f := range trace.RankBroken(all, match.Inputs{Open: part.PinSet(3)}) {
		require.Equal(t, []fault.Fault{{Kind: fault.Open, Pin: 3}}, f.Faults)
	}
	require.Empty(t, trace.RankBroken(all, match.Inputs{Open: part.PinSet(3, 6)}), "two pins without contact are more than one fault")
}

// J of a 7473 must stay while its clock is high (data books, from memory): what it does
// after such a change is not known, and contradicts no 7473; once cleared it is known again.
func TestWhatIsForbiddenCostsTheStateAndNoMore(t *testing.T) {
	// 14 1J, 1 1CLK, 2 /1CLR, 3 1K, 12 1Q, 13 /1Q; supply at 4, ground at 11
	const inputs = part.Pins(1<<0 | 1<<1 | 1<<2 | 1<<4 | 1<<5 | 1<<6 | 1<<9 | 1<<13)
	step := func(low part.Pins, q bool) match.Step {
		out := part.PinSet(13)
		if q {
			out = part.PinSet(12)
		}
		up := inputs&^low | out | part.PinSet(8) // the second flip-flop stays cleared: 9 low, 8 high
		return match.Step{Low: low, High: inputs &^ low, PulledUp: up, PulledDown: up}
	}
	second := part.PinSet(5, 6, 7, 10)
	trace := func(after bool) match.Trace {
		return match.Trace{Pins: 14, VCC: 4, GND: 11, Steps: []match.Step{
			step(second|part.PinSet(1, 2, 3, 14), false), // cleared
			step(second|part.PinSet(1, 3, 14), false),
			step(second|part.PinSet(3, 14), false), // the clock is high
			step(second|part.PinSet(3), false),     // J changes: forbidden
			step(second|part.PinSet(1, 3), after),  // the pulse is over
			step(second|part.PinSet(1, 2, 3), false),
		}}
	}
	for _, after := range []bool{false, true} {
		fit := trace(after).Rank(candidates(t, "7473"))
		require.NotEmpty(t, fit)
		require.Zero(t, fit[0].Mismatches, "whatever comes after: %v", after)
	}
	wrong := trace(false)
	wrong.Steps[5] = step(second|part.PinSet(1, 2, 3), true) // cleared and high
	fit := wrong.Rank(candidates(t, "7473"))
	require.NotZero(t, fit[0].Mismatches)
}
