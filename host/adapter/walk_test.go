package adapter

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"chipassay/vectors/part"
)

// The pulses of a clock are one stretch: two bytes a change and eight for the loop.
func TestClockPulsesAreOneStretch(t *testing.T) {
	clock, reset := part.PinSet(3), part.PinSet(1, 2)
	flips := []part.Pins{reset, reset}
	for range 8192 {
		flips = append(flips, clock)
	}
	flips = append(flips, reset)
	all := stretches(flips)
	require.Equal(t, []stretch{{[]part.Pins{reset, reset}, 1}, {[]part.Pins{clock}, 8192}, {[]part.Pins{reset}, 1}}, all)
	bytes := 0
	for _, s := range all {
		bytes += s.bytes()
	}
	require.Equal(t, 3*5+2+8, bytes)
}

// Whatever repeats, the stretches say the walk again, in pieces that fit.
func TestStretchesSayTheWalk(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		flips := rapid.SliceOfN(rapid.Map(rapid.IntRange(0, 3), func(n int) part.Pins { return part.Pins(n) }), 0, 300).Draw(t, "flips")
		var again []part.Pins
		for _, s := range stretches(flips) {
			for _, piece := range s.pieces(rapid.IntRange(0, 40).Draw(t, "room")) {
				if s.times == 1 && piece.bytes() > fewBytes {
					t.Fatalf("a piece of %d bytes", piece.bytes())
				}
				for range piece.times {
					again = append(again, piece.flips...)
				}
			}
		}
		if len(flips) > 0 {
			require.Equal(t, flips, again)
		}
	})
}
