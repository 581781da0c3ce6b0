package assay_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/assay"
	"chipassay/host/virtual"
	"chipassay/vectors/library"
)

// Through the real firmware: what is seated wrongly is never powered and is not tested;
// what is seated right passes.
func TestWhatLiesWrongIsNotPowered(t *testing.T) {
	typ, err := library.Open("74LS00")
	require.NoError(t, err)
	plan, err := assay.NewPlan(typ, nil)
	require.NoError(t, err)
	for defect, found := range map[string]string{
		"empty":    "empty socket",
		"reversed": "put in backwards",
		"shifted":  "shifted by one",
		"14 open":  "pin 14 makes no contact",

		"5 shorted to 6":      "pins 5 and 6 shorted",
		"3 shorted to ground": "pin 3 shorted to ground",
	} {
		d, err := virtual.ParseDefect(defect)
		require.NoError(t, err)
		r := assayed(t, plan, d)
		require.Equal(t, assay.NotTested, r.Verdict, defect+": "+r.Reason)
		require.NotNil(t, r.Seating, "%s: %s", defect, r.Reason)
		require.Equal(t, found, r.Seating.Found)
		require.Contains(t, r.Reason, found)
		require.Negative(t, r.SupplyCurrentMA, "the chip was powered")
		require.Zero(t, r.VectorsApplied)
	}
	open, err := virtual.ParseDefect("3 open")
	require.NoError(t, err)
	r := assayed(t, plan, open)
	require.Equal(t, assay.Fail, r.Verdict, "the supply does no harm")
	require.Equal(t, "pin 3 makes no contact", r.Seating.Found)
	require.Equal(t, []int{3}, r.PinsFailed, "an output, found by contact and by its errors, and named once")
	other, err := virtual.ParseDefect("11 open")
	require.NoError(t, err)
	r = assayed(t, plan, open, other)
	require.Equal(t, assay.NotTested, r.Verdict)
	require.Equal(t, "pins 3 and 11 make no contact", r.Seating.Found)
	require.Equal(t, []int{3, 11}, r.PinsFailed)
	r = assayed(t, plan)
	require.Equal(t, assay.Pass, r.Verdict, r.Reason)
}
