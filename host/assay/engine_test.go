package assay_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/assay"
	"chipassay/host/virtual"
	"chipassay/vectors/fault"
	"chipassay/vectors/logic"
	"chipassay/vectors/stimulus"
)

// By signatures the same is found as by every readback, and less is sent: for
// sweeps of gates and an arithmetic unit, and for tours of counters and registers.
func TestSignaturesFindWhatReadbacksFind(t *testing.T) {
	for _, c := range []struct{ typ, defect string }{
		{"74181", ""}, {"74181", "9 stuck low"}, {"74181", "2 stuck high"},
		{"74147", "3 stuck low"}, {"74147", "10 stuck high"}, // errors at neighbouring pins in neighbouring steps
		{"74193", ""}, {"74193", "3 stuck high"}, {"4040", ""}, {"4040", "1 stuck low"}, {"4040", "10 stuck low"},
		{"74LS374", ""}, {"74LS374", "1 stuck low"}, {"7442", "15 stuck low"},
	} {
		typ := open(t, c.typ)
		circuit, err := logic.Compile(typ.Variant)
		require.NoError(t, err)
		s, err := stimulus.For(circuit)
		require.NoError(t, err)
		fault.Trim(circuit, typ.Family, s)
		var defects []virtual.Defect
		if c.defect != "" {
			d, err := virtual.ParseDefect(c.defect)
			require.NoError(t, err)
			defects = append(defects, d)
		}
		plan := assay.Plan{Type: typ, Circuit: circuit, Sequence: s, Only: []assay.Stage{assay.FunctionStage}}
		signed := assayed(t, plan, defects...)
		plan.EveryReadback = true
		read := assayed(t, plan, defects...)
		require.Equal(t, read.Verdict, signed.Verdict, "%s %s: %s", c.typ, c.defect, signed.Reason)
		require.Equal(t, read.PinsFailed, signed.PinsFailed, "%s %s", c.typ, c.defect)
		require.Equal(t, read.FailureCount, signed.FailureCount, "%s %s", c.typ, c.defect)
		require.Equal(t, "every readback", read.Comparison)
		require.Zero(t, signed.Unsteady)
		if c.defect == "" {
			require.Equal(t, assay.Pass, signed.Verdict)
			if len(s.Steps) > 64 { // fewer are read back one by one
				require.Contains(t, signed.Comparison, "by signatures of 32 bits")
			}
		}
	}
}
