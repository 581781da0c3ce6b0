package stimulus_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// A counter whose enables must stay while the clock is low (TTL data books on the
// plain 74161, from memory) still counts through all sixteen states in one run: an
// input that may not change waits for the other level of the clock.
func TestACycleIsRunThoughInputsMustStayWhileTheClockIsLow(t *testing.T) {
	s := sequence(t, strings.Replace(counter, "bus IN", "stable ENP ENT /LOAD while !CLK\nbus IN", 1))
	longest, run, last := 0, 0, -1
	for _, st := range s.Steps {
		count := 0
		for _, pin := range []int{11, 12, 13, 14} { // QD to QA
			count <<= 1
			if st.High.Has(pin) {
				count |= 1
			}
		}
		switch count {
		case last:
		case (last + 1) % 16:
			run++
		default:
			run = 0
		}
		last, longest = count, max(longest, run)
	}
	require.GreaterOrEqual(t, longest, 16)
	require.Contains(t, s.Method, "a whole cycle of 16 pulses at pin 2")
}
