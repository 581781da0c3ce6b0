package adapter_test

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// gates7410 are the gates of a 7410, the output last (data books, from memory).
var gates7410 = [][4]int{{1, 2, 13, 12}, {3, 4, 5, 6}, {9, 10, 11, 8}}

// sweep7410 goes through all inputs of a 7410 in the reflected binary code, with what
// its pins read: outputs as NAND gates, inputs as driven.
func sweep7410() (pins []int, steps []stimulus.Step, e adapter.Expected) {
	for _, g := range gates7410 {
		pins = append(pins, g[:3]...)
		e.Mask |= part.PinSet(g[:]...)
	}
	for i := range 1 << len(pins) {
		st := stimulus.Step{Driven: part.PinSet(pins...)}
		for k, pin := range pins {
			st.Drive = st.Drive.With(pin, (i^i>>1)>>k&1 != 0)
		}
		high := st.Drive
		for _, g := range gates7410 {
			high = high.With(g[3], !(st.Drive.Has(g[0]) && st.Drive.Has(g[1]) && st.Drive.Has(g[2])))
		}
		steps, e.High = append(steps, st), append(e.High, high)
	}
	return pins, steps, e
}

// A sweep goes either way, in one request and in several, and a reading that is not
// as expected is found in its block.
func TestSweepInBothOrders(t *testing.T) {
	pins, steps, e := sweep7410()
	for _, settle := range []time.Duration{500 * time.Nanosecond, 4 * time.Millisecond} {
		for _, order := range []string{"forward", "backward"} {
			_, _, _, seat := seat7410(t)
			var reported []int
			seat.Progress = func(n int) { reported = append(reported, n) }
			wrong, err := seat.Sweep(t.Context(), steps, pins, settle, e, adapter.High)
			require.NoError(t, err)
			require.Empty(t, wrong, "%s, settling %v", order, settle)
			require.Equal(t, settle > time.Millisecond, len(reported) > 1, "requests: %v", reported)

			spoiled := adapter.Expected{High: slices.Clone(e.High), Mask: e.Mask}
			spoiled.High[300] ^= part.PinSet(12)
			wrong, err = seat.Sweep(t.Context(), steps, pins, settle, spoiled, adapter.Low)
			require.NoError(t, err)
			require.Len(t, wrong, 1, "%s, settling %v", order, settle)
			require.True(t, wrong[0].From <= 300 && 300 < wrong[0].To && wrong[0].To-wrong[0].From <= 16, "%s: %v", order, wrong)
			slices.Reverse(steps)
			slices.Reverse(e.High)
		}
	}
}

// The adapter's time is that of the steps and of the frames on the line, by addition
// (SPEC.md, Frames): PULLS 17 + 7 bytes, SWEEP 44 + 135, 10 µs each, and 512 steps of 6.5 µs.
// What has to be sent again on a bad line does not count.
func TestSpentIsWhatWasAskedFor(t *testing.T) {
	pins, steps, e := sweep7410()
	for _, loss := range []float64{0, 0.3} {
		l, _, a, seat := seat7410(t)
		l.loss = loss
		before := seat.Spent()
		_, err := seat.Sweep(t.Context(), steps, pins, 500*time.Nanosecond, e, adapter.High)
		require.NoError(t, err)
		require.Equal(t, 5358*time.Microsecond, seat.Spent()-before)
		require.Equal(t, loss > 0, a.Repeats() > 0)
	}
}
