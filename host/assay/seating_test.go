package assay_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/assay"
	"chipassay/host/virtual"
	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/stimulus"
)

// Through the real firmware: what lies wrong is never powered and is not tested;
// what lies right passes.
func TestWhatLiesWrongIsNotPowered(t *testing.T) {
	typ, err := library.Open("74LS00")
	require.NoError(t, err)
	c, err := logic.Compile(typ.Variant)
	require.NoError(t, err)
	s, err := stimulus.For(c)
	require.NoError(t, err)
	plan := assay.Plan{Type: typ, Circuit: c, Sequence: s, Contact: true}
	for defect, found := range map[string]string{
		"empty":    "empty socket",
		"reversed": "put in backwards",
		"shifted":  "shifted by one",
		"14 open":  "pin 14 makes no contact",
	} {
		d, err := virtual.ParseDefect(defect)
		require.NoError(t, err)
		r := assayed(t, plan, d)
		require.Equal(t, assay.NotTested, r.Verdict, defect)
		require.Equal(t, found, r.Seating.Found)
		require.Contains(t, r.Reason, found)
		require.Negative(t, r.SupplyCurrentMA, "the chip was powered")
		require.Zero(t, r.VectorsApplied)
	}
	for defect, found := range map[string]string{
		"3 open":         "pin 3 makes no contact",
		"5 shorted to 6": "pins 5 and 6 shorted",
	} {
		d, err := virtual.ParseDefect(defect)
		require.NoError(t, err)
		r := assayed(t, plan, d)
		require.Equal(t, assay.Fail, r.Verdict, "the supply does no harm: %s", defect)
		require.Equal(t, found, r.Seating.Found)
	}
	r := assayed(t, plan)
	require.Equal(t, assay.Pass, r.Verdict, r.Reason)
}
