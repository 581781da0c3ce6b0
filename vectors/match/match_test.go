package match_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/match"
	"chipassay/vectors/part"
)

// candidates are some parts of the library, by number.
func candidates(t *testing.T, numbers ...string) (all []match.Candidate) {
	t.Helper()
	for _, number := range numbers {
		p, err := library.Builtin().Find(number)
		require.NoError(t, err)
		require.NotNil(t, p, number)
		for _, v := range p.Variants {
			c := match.Candidate{Variant: v}
			if v.Memory == nil {
				c.Circuit, err = logic.Compile(v)
				require.NoError(t, err)
			}
			all = append(all, c)
		}
	}
	return all
}

// held gives a step of a 14-pin chip with outputs at 3, 6, 8 and 11: pins low, all other
// inputs held high, and the outputs that read high.
func held(low, high part.Pins) match.Step {
	const outputs = 1<<2 | 1<<5 | 1<<7 | 1<<10
	inputs := (part.Pins(1)<<13 - 1) &^ (1 << 6) &^ outputs
	up := inputs&^low | high
	return match.Step{Low: low, High: inputs &^ low, PulledUp: up, PulledDown: up}
}

// NAND, AND, OR and exclusive-OR on the same pins (data books, from memory): one gate's
// truth table tells them apart, with the other three at both inputs high.
func TestATruthTableTellsGatesApart(t *testing.T) {
	others := map[string]part.Pins{"7400": 0, "7408": part.PinSet(6, 8, 11), "7432": part.PinSet(6, 8, 11), "7486": 0}
	tables := map[string][4]bool{ // of 1A 1B = LL, HL, LH, HH
		"7400": {true, true, true, false}, "7408": {false, false, false, true},
		"7432": {false, true, true, true}, "7486": {false, true, true, false},
	}
	all := candidates(t, "7400", "7408", "7432", "7486", "7402")
	for number, table := range tables {
		trace := match.Trace{Pins: 14, VCC: 14, GND: 7}
		for i, low := range []part.Pins{part.PinSet(1, 2), part.PinSet(2), part.PinSet(1), 0} {
			trace.Steps = append(trace.Steps, held(low, others[number].With(3, table[i])))
		}
		fits := trace.Rank(all)
		require.Equal(t, number, fits[0].Variant.Part.Number)
		require.Zero(t, fits[0].Mismatches)
		for _, f := range fits {
			if f.Variant.Part.Number == number {
				continue
			}
			require.Positive(t, f.Mismatches, "%s for a %s", f.Variant.Part.Number, number)
			require.GreaterOrEqual(t, f.Bits, float64(match.Mismatch*f.Mismatches))
		}
	}
}

// An output that pulls low only (7403) follows its bias where a 7400 drives high.
func TestAnOpenCollectorIsNoTotemPole(t *testing.T) {
	s := held(part.PinSet(1), part.PinSet(3))
	s.PulledDown = s.PulledDown.With(3, false)
	fits := match.Trace{Pins: 14, VCC: 14, GND: 7, Steps: []match.Step{s}}.Rank(candidates(t, "7403", "7400"))
	require.Equal(t, "7403", fits[0].Variant.Part.Number)
	require.Zero(t, fits[0].Mismatches)
	require.Equal(t, 1, fits[len(fits)-1].Mismatches)
}

// What the adaptive code of Krichevsky and Trofimov takes, by hand: the n-th reading that
// stays, after n-1 that did, costs the logarithm of n over n - 1/2.
func TestABlindPriceIsThatOfTheCode(t *testing.T) {
	const readings = 5
	trace := match.Trace{Pins: 14, VCC: 14, GND: 7}
	for range readings {
		trace.Steps = append(trace.Steps, held(0, 0)) // four outputs that stand low
	}
	bits := 12.0 // a bit a pin for its direction
	for n := 1.0; n <= readings; n++ {
		bits += 4 * math.Log2(n/(n-0.5))
	}
	require.InDelta(t, bits, trace.Blind(), 1e-9)
}

// A static memory keeps what was written, and drives only while it is selected: 2114,
// with /CS at 8, /WE at 10, data at 11 to 14, and addresses elsewhere (data books, from memory).
func TestAMemoryKeepsItsWords(t *testing.T) {
	const data = 0xf << 10
	address := part.PinSet(1, 2, 3, 4, 5, 6, 7, 15, 16, 17)
	step := func(low, held, read part.Pins) match.Step {
		return match.Step{Low: low, High: held, PulledUp: held | read, PulledDown: held | read}
	}
	word := part.PinSet(11, 13)
	trace := match.Trace{Pins: 18, VCC: 18, GND: 9, Steps: []match.Step{
		step(address, part.PinSet(8, 10)|data, 0),
		step(address|part.PinSet(8, 10)|data&^word, word, 0),                                                          // written
		step(address|data&^word, part.PinSet(8, 10)|word, 0),                                                          // neither
		step(address|part.PinSet(8), part.PinSet(10), word),                                                           // read
		{Low: address, High: part.PinSet(8, 10), PulledUp: part.PinSet(8, 10) | data, PulledDown: part.PinSet(8, 10)}, // released
	}}
	fits := trace.Rank(candidates(t, "2114"))
	require.Zero(t, fits[0].Mismatches)
	trace.Steps[3] = step(address|part.PinSet(8), part.PinSet(10), data) // another word
	require.Equal(t, 2, trace.Rank(candidates(t, "2114"))[0].Mismatches)
	trace.Steps[4].PulledDown |= data // it drives though it is not selected
	require.Equal(t, 6, trace.Rank(candidates(t, "2114"))[0].Mismatches)
}
