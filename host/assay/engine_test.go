package assay_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/verdict"
	"chipassay/host/virtual"
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
		plan, err := assay.NewPlan(typ, nil)
		require.NoError(t, err)
		var defects []virtual.Defect
		if c.defect != "" {
			d, err := virtual.ParseDefect(c.defect)
			require.NoError(t, err)
			defects = append(defects, d)
		}
		plan.Only = []assay.Stage{assay.FunctionStage}
		signed := assayed(t, plan, defects...)
		plan.EveryReadback = true
		read := assayed(t, plan, defects...)
		require.Equal(t, read.Verdict, signed.Verdict, "%s %s: %s", c.typ, c.defect, signed.Reason)
		require.Equal(t, read.PinsFailed, signed.PinsFailed, "%s %s", c.typ, c.defect)
		require.Equal(t, read.FailureCount, signed.FailureCount, "%s %s", c.typ, c.defect)
		require.Equal(t, "every readback", read.Comparison)
		require.Zero(t, signed.Unsteady, "%s %s", c.typ, c.defect)
		if c.defect == "" {
			require.Equal(t, assay.Pass, signed.Verdict)
			if len(plan.Sequence.Steps) > 64 { // fewer are read back one by one
				require.Contains(t, signed.Comparison, "by 32-bit signature")
			}
		}
	}
}

// A restless socket's signatures are wrong now and then, while its readbacks, one
// by one, are right: as with a contact that opens when pins change fast.
type restless struct{ functionOnly }

func (r restless) Sweep(ctx context.Context, steps []stimulus.Step, pins []int, settle time.Duration, e adapter.Expected, bias adapter.Pull) ([]adapter.Span, error) {
	_, err := r.Seat.Sweep(ctx, steps, pins, settle, e, bias)
	return []adapter.Span{{From: 128, To: 192}}, err
}

func (r restless) Walk(ctx context.Context, steps []stimulus.Step, settle time.Duration, e adapter.Expected, bias adapter.Pull) (bool, error) {
	_, err := r.Seat.Walk(ctx, steps, settle, e, bias)
	return false, err
}

// What was wrong and reads right when it is repeated is no pass: a sweep of an
// arithmetic unit, and the walk of a counter.
func TestWhatFailsSometimesIsNoPass(t *testing.T) {
	for typed, unsteady := range map[string]int{"74181": 2 * 64, "74193": 0} {
		typ := open(t, typed)
		plan, err := assay.NewPlan(typ, nil)
		require.NoError(t, err)
		if unsteady == 0 {
			unsteady = 2 * len(plan.Sequence.Steps) // all of the walk, under both levels of the bias rail
		}
		chip, err := virtual.NewChip(typ)
		require.NoError(t, err)
		a, seat, err := seatedOn(t.Context(), typ, chip)
		require.NoError(t, err)
		defer a.Close()
		r := assay.Run(t.Context(), restless{quick(seat)}, plan)
		require.Equal(t, assay.Fail, r.Verdict, typed)
		require.Contains(t, r.Reason, "intermittent", typed)
		require.Equal(t, unsteady, r.Unsteady, typed)
		require.Equal(t, verdict.Reject, r.Grade, typed)
	}
}
