package assay_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// bare is an adapter without converters, load resistors and engines.
type bare struct{ assay.Socket }

func (bare) Can() adapter.Abilities { return adapter.Abilities{} }

func (bare) ApplySettling(context.Context, []stimulus.Step, adapter.Pull, time.Duration) ([]part.Pins, error) {
	return nil, errors.New("it is not asked twice")
}

// A benchChip is a 7410 in plain Go, in a socket that can fail: gates 1 2 13 → 12,
// 3 4 5 → 6, 9 10 11 → 8 (data books, from memory).
type benchChip struct {
	bare
	level   func(gate int, in [3]bool) logic.Value
	powered bool
	offs    int
	failAt  int   // step at which the adapter fails, or 0
	err     error // with which it fails
	short   bool  // answers one step too few
	absent  bool  // nothing takes current
	spent   time.Duration
}

func (b *benchChip) PowerOn(context.Context, int) (float64, error) {
	b.powered = true
	if b.absent {
		return 0, nil
	}
	return 6, nil
}

func (b *benchChip) PowerOff(context.Context) error {
	b.powered = false
	b.offs++
	return nil
}

func (b *benchChip) Spent() time.Duration { return b.spent }

func (b *benchChip) Apply(_ context.Context, steps []stimulus.Step, bias adapter.Pull) ([]part.Pins, error) {
	var read []part.Pins
	b.spent += time.Duration(len(steps)) * 100 * time.Microsecond
	for i, st := range steps {
		if b.failAt == i+1 {
			return read, b.err
		}
		high := st.Drive
		for gate, pins := range [3][4]int{{1, 2, 13, 12}, {3, 4, 5, 6}, {9, 10, 11, 8}} {
			v := b.level(gate+1, [3]bool{st.Drive.Has(pins[0]), st.Drive.Has(pins[1]), st.Drive.Has(pins[2])})
			high = high.With(pins[3], v == logic.One || v == logic.Z && bias == adapter.High)
		}
		read = append(read, high)
	}
	if b.short {
		read = read[:len(read)-1]
	}
	return read, nil
}

func good(_ int, in [3]bool) logic.Value { return logic.FromBool(!(in[0] && in[1] && in[2])) }

func run(t *testing.T, chip *benchChip) *assay.Result {
	t.Helper()
	typ, err := library.Open("7410")
	require.NoError(t, err)
	plan, err := assay.NewPlan(typ, nil)
	require.NoError(t, err)
	r := assay.Run(t.Context(), chip, plan)
	require.False(t, chip.powered, "the supply must be off in the end")
	require.Positive(t, chip.offs)
	return r
}

func TestGoodChipPasses(t *testing.T) {
	r := run(t, &benchChip{level: good})
	require.Equal(t, assay.Pass, r.Verdict)
	require.Equal(t, 512, r.VectorsApplied)
	require.Equal(t, []string{"1", "2", "3"}, r.GatesSound)
	require.Empty(t, r.PinsFailed)
}

func TestBadGateFailsAndTheOthersAreSaidToBeSound(t *testing.T) {
	r := run(t, &benchChip{level: func(gate int, in [3]bool) logic.Value {
		if gate == 3 {
			return logic.Zero
		}
		return good(gate, in)
	}})
	require.Equal(t, assay.Fail, r.Verdict)
	require.Contains(t, r.PinsFailed, 8)
	require.Equal(t, []string{"1", "2"}, r.GatesSound)
	require.Equal(t, []string{"3"}, r.GatesFailed)
	require.Equal(t, 448, r.FailureCount, "low in the 7 of 8 combinations that want a high")
	require.Len(t, r.Failures, assay.MaxFailures)
	require.Equal(t, assay.Failure{Pin: 8, Step: 1, Inputs: "3A=L 3B=L 3C=L", Expected: logic.One, Observed: logic.Zero}, r.Failures[0])
}

// An output whose upper transistor is dead reads high under a pull-up alone, and
// must fail all the same (common practice; a tester with pull-ups only misses it).
func TestAHighThatOnlyThePullUpMakesFails(t *testing.T) {
	r := run(t, &benchChip{level: func(gate int, in [3]bool) logic.Value {
		if v := good(gate, in); gate != 2 || v == logic.Zero {
			return v
		}
		return logic.Z
	}})
	require.Equal(t, assay.Fail, r.Verdict)
	require.Equal(t, []int{6}, r.PinsFailed)
	require.Contains(t, r.Reason, "upper transistor")
}

// Whatever stops an assay before its last step, the verdict is never pass.
func TestAnUnfinishedAssayIsNeverAPass(t *testing.T) {
	unplugged := errors.New("unplugged")
	for name, chip := range map[string]*benchChip{
		"fails at the first step":      {level: good, failAt: 1, err: unplugged},
		"fails at the last step":       {level: good, failAt: 512, err: unplugged},
		"interrupted":                  {level: good, failAt: 100, err: context.Canceled},
		"answers one step too few":     {level: good, short: true},
		"nothing in the socket drives": {level: func(int, [3]bool) logic.Value { return logic.Z }, absent: true},
	} {
		r := run(t, chip)
		require.Equal(t, assay.NotTested, r.Verdict, name)
		require.NotEmpty(t, r.Reason, name)
	}
}
