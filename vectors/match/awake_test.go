package match_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/fault"
	"chipassay/vectors/match"
	"chipassay/vectors/part"
)

// The first flip-flop of a 7474 (data books, from memory): 1 /1CLR, 2 1D, 3 1CLK, 4 /1PRE, 5 1Q,
// 6 /1Q; the second, with 10 /2PRE, 13 /2CLR, 12 2D, 11 2CLK, stays cleared: 8 /2Q high, 9 2Q low.
func flipFlop(low part.Pins, q bool) match.Step {
	low |= part.PinSet(11, 12, 13)
	inputs := part.PinSet(1, 2, 3, 4, 10, 11, 12, 13)
	up := inputs&^low | part.PinSet(8)
	up = up.With(5, q).With(6, !q)
	return match.Step{Low: low, High: inputs &^ low, PulledUp: up, PulledDown: up}
}

func flipFlops(steps ...match.Step) match.Trace {
	return match.Trace{Pins: 14, VCC: 14, GND: 7, Steps: steps}
}

// A flip-flop that was cleared stays so without a clock, but may come up otherwise when its
// power was cycled.
func TestAPowerCycleLeavesTheStateUnknown(t *testing.T) {
	all := candidates(t, "7474")
	for _, anew := range []bool{false, true} {
		last := flipFlop(part.PinSet(3), true)
		last.Anew = anew
		fit := flipFlops(flipFlop(part.PinSet(1, 3), false), flipFlop(part.PinSet(3), false), last).Rank(all)
		require.Equal(t, anew, fit[0].Mismatches == 0)
	}
	// the clock that was low before may be high afterwards, and that is no edge
	up := flipFlop(part.PinSet(2), true)
	up.Anew = true
	fit := flipFlops(flipFlop(part.PinSet(1, 2, 3), false), up).Rank(all)
	require.Zero(t, fit[0].Mismatches)
}

// A clock that is stuck explains an output that stays, and none that moves: without a clock the
// state at power-up is not known, but it does not change.
func TestAStuckClockExplainsNothingThatMoves(t *testing.T) {
	c := candidates(t, "7474")[0]
	stuck := fault.Fault{Kind: fault.StuckLow, Pin: 3}
	for _, moves := range []bool{false, true} {
		trace := flipFlops(flipFlop(part.PinSet(3), true), flipFlop(0, true), flipFlop(part.PinSet(2, 3), true), flipFlop(part.PinSet(2), !moves))
		require.Equal(t, !moves, trace.Explains(c, stuck, match.Inputs{Bipolar: true}), "moves: %v", moves)
		for _, f := range trace.RankBroken([]match.Candidate{c}, match.Inputs{Bipolar: true}) {
			require.False(t, moves && slices.Contains(f.Faults, stuck) && f.Bits < 2*match.Mismatch)
		}
	}
}

// An open TTL input acts as a high, and an open MOS input as anything (common practice). A pin
// that touches is not open.
func TestAnOpenInputActsByItsTechnology(t *testing.T) {
	all := candidates(t, "7400")
	open := fault.Fault{Kind: fault.Open, Pin: 1}
	trace := match.Trace{Pins: 14, VCC: 14, GND: 7, Steps: []match.Step{
		held(part.PinSet(1, 4, 9, 12), part.PinSet(6, 8, 11)), // 1A low, and 1Y is low as if it were high
		held(part.PinSet(4, 9, 12), part.PinSet(6, 8, 11)),
		held(part.PinSet(2, 4, 9, 12), part.PinSet(3, 6, 8, 11)),
	}}
	require.True(t, trace.Explains(all[0], open, match.Inputs{Open: part.PinSet(1), Bipolar: true}))
	require.True(t, trace.Explains(all[0], open, match.Inputs{Open: part.PinSet(1)}))
	require.True(t, trace.Explains(all[0], open, match.Inputs{Unjudged: part.PinSet(1), Bipolar: true}))
	require.False(t, trace.Explains(all[0], open, match.Inputs{Bipolar: true}), "it touches")

	trace.Steps[1] = held(part.PinSet(4, 9, 12), part.PinSet(3, 6, 8, 11)) // 1Y high with both high
	require.False(t, trace.Explains(all[0], open, match.Inputs{Open: part.PinSet(1), Bipolar: true}))
	require.True(t, trace.Explains(all[0], open, match.Inputs{Open: part.PinSet(1)}))
}

// A parity port that cannot pull high follows its resistor, and the chip takes that for its level
// (SN74AS286 data sheet, from memory: with /XMIT low the port drives, and the error output is
// high; with /XMIT high the error output compares the port with the inputs).
func TestWhatAFaultyOutputDoesFeedsBack(t *testing.T) {
	inputs := part.PinSet(1, 2, 3, 4, 8, 9, 10, 11, 12, 13)
	step := func(low, up, down part.Pins) match.Step {
		high := inputs &^ low
		return match.Step{Low: low, High: high, PulledUp: up | high, PulledDown: down | high}
	}
	c := candidates(t, "74286")[0]
	trace := match.Trace{Pins: 14, VCC: 14, GND: 7, Steps: []match.Step{
		step(part.PinSet(3), part.PinSet(5), part.PinSet(5)),       // nine highs are odd: the port is low
		step(part.PinSet(3, 1), part.PinSet(5, 6), part.PinSet(5)), // even: it should be high, and follows
	}}
	require.True(t, trace.Explains(c, fault.Fault{Kind: fault.NoPullUp, Pin: 6}, match.Inputs{Bipolar: true}))
	require.NotZero(t, trace.Rank([]match.Candidate{c})[0].Mismatches)
}
