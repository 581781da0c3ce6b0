package assay_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/assay"
	"chipassay/host/verdict"
	"chipassay/vectors/fault"
	"chipassay/vectors/part"
)

// planned plans the test of a type as it is done at the bench, in one round.
func planned(t *testing.T, typed string) assay.Plan {
	t.Helper()
	p, err := assay.NewPlan(open(t, typed), nil)
	require.NoError(t, err)
	return p
}

// What a capacitor would be needed for is not tested, however right the few levels
// without it are answered: the reason says what is needed, no gate is called sound,
// and there is no grade. Of a 74121 to 74123, 4047, 4098 and 4538 the pulses are what
// the part is for (data books, from memory).
func TestWithoutItsCapacitorAOneShotIsNotTested(t *testing.T) {
	for _, typed := range []string{"74121", "74LS122", "74123", "74221", "4047", "4098", "4538"} {
		r := assayed(t, planned(t, typed))
		require.Equal(t, assay.NotTested, r.Verdict, typed)
		require.Contains(t, r.Reason, "capacitor", typed)
		require.Contains(t, r.Reason, " right", typed)
		require.Empty(t, r.GatesSound, typed)
		require.Equal(t, verdict.None, r.Grade, typed)
		require.Empty(t, r.Partial, typed)
	}
}

// The floor is asked of each section. Where only some come up to it, and the
// definition says why, the pass is partial; without a reason it is none.
func TestTheFloorIsAskedOfEachSection(t *testing.T) {
	p := planned(t, "7400")
	require.Len(t, p.Coverage.Sections, 4)
	r := assayed(t, p)
	require.Equal(t, assay.Pass, r.Verdict, r.Reason)
	require.Empty(t, r.Partial)
	require.Equal(t, []string{"1", "2", "3", "4"}, r.GatesSound)

	lacking := func(explained bool, gates ...int) *assay.Result {
		p := planned(t, "7400")
		p.Coverage.Sections = append([]fault.Section{}, p.Coverage.Sections...)
		for _, i := range gates {
			p.Coverage.Sections[i].Lacking = []string{"output is never expected high"}
			if explained {
				p.Coverage.Sections[i].Untested = p.Coverage.Sections[i].Pins
			}
		}
		return assayed(t, p)
	}
	r = lacking(true, 0)
	pins := p.Coverage.Sections[0].Pins
	require.Equal(t, assay.Pass, r.Verdict)
	require.True(t, assay.InPart(r.Reason), r.Reason)
	require.Equal(t, pins, part.PinSet(r.Partial...))
	require.Len(t, r.GatesSound, 3)
	for _, r := range []*assay.Result{lacking(false, 0), lacking(true, 0, 1, 2, 3)} {
		require.Equal(t, assay.NotTested, r.Verdict, r.Reason)
		require.Contains(t, r.Reason, "never expected high")
		require.Empty(t, r.GatesSound)
		require.Equal(t, verdict.None, r.Grade)
	}
}

// A pin that the definition leaves out is listed: makers differ over the
// half stage at pin 2 of a 4006 (its definition says so).
func TestAPinLeftOutMakesThePassPartial(t *testing.T) {
	r := assayed(t, planned(t, "4006"))
	require.Equal(t, assay.Pass, r.Verdict, r.Reason)
	require.Equal(t, []int{2}, r.Partial)
	require.True(t, assay.InPart(r.Reason))

	r = assayed(t, planned(t, "75450")) // the transistors beside its gates
	require.Equal(t, assay.Pass, r.Verdict, r.Reason)
	require.Equal(t, []int{4, 5, 6, 9, 10, 11}, r.Partial)
}
