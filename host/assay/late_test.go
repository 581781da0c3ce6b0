package assay_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/assay"
)

// An output that also releases, or a pin of both directions, is judged at the short wait as it drives, whichever
// way it is late, from a tenth of a microsecond past it to the usual wait and beyond; what is late is named and timed, and nothing else.
func TestLateOutputsThatAlsoRelease(t *testing.T) {
	for _, c := range []struct {
		name, defect string
		pin          int
		rises, falls float64 // µs
	}{
		{"74LS244", "18 late 2 us", 18, 2, 2},
		{"74LS244", "9 rises 0.6 us late", 9, 0.6, 0},
		{"74LS240", "3 falls 5 us late", 3, 0, 5},
		{"74125", "11 rises 3 us late", 11, 3, 0},
		{"74LS251", "5 late 1 us", 5, 1, 1},
		{"74LS374", "2 falls 0.7 us late", 2, 0, 0.7},
		{"74LS373", "19 rises 40 us late", 19, 40, 0},
		{"74LS245", "18 rises 1 us late", 18, 1, 0},
		{"74LS245", "2 falls 1 us late", 2, 0, 1},
		{"74LS173", "3 late 3 us", 3, 3, 3},
		{"7400", "3 rises 0.6 us late", 3, 0.6, 0}, // which never releases
		{"7400", "3 falls 0.6 us late", 3, 0, 0.6},
	} {
		r := wholeAssay(t, c.name, c.defect)
		require.Equal(t, assay.Fail, r.Verdict, "%s, %s", c.name, c.defect)
		require.Contains(t, r.Reason, "follows late", "%s, %s", c.name, c.defect)
		require.Equal(t, []int{c.pin}, r.PinsFailed, "%s, %s: %s", c.name, c.defect, r.Reason)
		timed := map[bool]float64{}
		for _, d := range r.Late {
			at, off := d.Microseconds()
			want := map[bool]float64{true: c.rises, false: c.falls}[d.High]
			require.InDelta(t, want, at, off+0.15, "%s, %s: %+v", c.name, c.defect, d)
			timed[d.High] = at
		}
		require.Equal(t, c.rises != 0, timed[true] != 0, "%s, %s: rising %v", c.name, c.defect, r.Late)
		require.Equal(t, c.falls != 0, timed[false] != 0, "%s, %s: falling %v", c.name, c.defect, r.Late)
	}
}

// The gates of other outputs were right, and are said to be.
func TestALateGateLeavesTheOthersSound(t *testing.T) {
	r := wholeAssay(t, "74LS244", "18 late 2 us")
	require.Equal(t, []string{"1Y1"}, r.GatesFailed)
	require.Len(t, r.GatesSound, 7)
}
