package main

import (
	"context"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"chipassay/host/assay"
	"chipassay/host/assay/timing"
	"chipassay/host/bench"
	"chipassay/vectors/library"
)

// The bench page asks for a capacitor as the test command does, and what does not fit is said
// without the names of flags.
func TestBenchAsksToClip(t *testing.T) {
	var asked []string
	person := bench.Helper(func(_ context.Context, what string, cautions []string) error {
		asked = append(asked, what)
		assert.NotEmpty(t, cautions)
		return nil
	})
	planned := func(number string, c bench.Capacitor) (p assay.Plan) {
		t.Helper()
		typ, err := library.Open(number)
		require.NoError(t, err)
		clip, err := withCapacitor(c, typ, nil, person)
		require.NoError(t, err)
		clip(&p)
		return p
	}
	p := planned("7414", bench.Capacitor{Marked: "1u"})
	require.Nil(t, p.Timing)
	require.InDelta(t, 1e-6, p.Thresholds.Farads, 1e-12)
	require.NoError(t, p.Thresholds.Clip(t.Context(), 13))
	require.NoError(t, p.Thresholds.Clip(t.Context(), 0))
	p = planned("74123", bench.Capacitor{Marked: "100n"})
	require.Nil(t, p.Thresholds)
	first := timing.Clips{Section: "1", Positive: 15, Negative: 14, Farads: 100e-9}
	second := timing.Clips{Section: "2", Positive: 7, Negative: 6, Farads: 100e-9, Moved: true}
	for _, c := range []timing.Clips{first, second, first} { // the third is the next chip's: nothing is clipped to it yet
		require.NoError(t, p.Timing.Clip(t.Context(), c))
	}
	require.Len(t, asked, 4)
	assert.Contains(t, asked[2], "move the capacitor")
	assert.Contains(t, asked[3], "clip the capacitor")
	assert.Contains(t, asked[0], "position 27 (pin 13, 6A)")
	assert.Contains(t, asked[1], "the capacitor of 100 nF")
	for number, c := range map[string]bench.Capacitor{"7414": {Marked: "100"}, "7404": {Marked: "1u", Resistor: "10k"}, "555": {Marked: "100n"}, "74123": {Marked: "1x"}} {
		typ, err := library.Open(number)
		require.NoError(t, err)
		_, err = withCapacitor(c, typ, nil, person)
		require.Error(t, err, number)
		assert.NotContains(t, err.Error(), "--", number)
	}
}
