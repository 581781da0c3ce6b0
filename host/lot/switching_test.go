package lot

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// run feeds lots of 500 chips at AQL 1.0 to a scheme: + accepted without a bad
// chip, - rejected.
func run(t require.TestingT, s Scheme, lots string) Scheme {
	for _, lot := range lots {
		plan, err := PlanFor(500, 1.0, II, s.Severity())
		require.NoError(t, err)
		bad := 0
		if lot == '-' {
			bad = plan.Reject
		}
		s, err = s.After(plan, plan.SampleSize, bad)
		require.NoError(t, err)
	}
	return s
}

// TestSwitching has the rules of ISO 2859-1:1999 9.3 and 9.4 as public manuals on
// the standard give them, and of MIL-STD-105E 4.7.1, 4.7.2 and 4.8, which are the
// same: 2 of 5 or fewer consecutive rejected; 5 in turn accepted; 5 rejected in all.
func TestSwitching(t *testing.T) {
	for _, c := range []struct {
		lots string
		want Severity
	}{
		{"", Normal},
		{"-", Normal},
		{"--", Tightened},
		{"-+++-", Tightened},
		{"-++++-", Normal}, // the second is not among five consecutive
		{"+-+-", Tightened},
		{"--++++", Tightened},
		{"--+++++", Normal},
		{"--++++-+++++", Normal},
		{"--++++-++++", Tightened},
		{"--+++++-", Normal}, // what was before tightened is forgotten
	} {
		s := run(t, Scheme{ReduceBy: Reduced}, c.lots)
		assert.Equal(t, c.want, s.Severity(), c.lots)
		assert.False(t, s.Discontinued(), c.lots)
	}
}

func TestDiscontinuation(t *testing.T) {
	s := run(t, Scheme{}, "--"+"-+-++-+-")
	assert.False(t, s.Discontinued())
	s = run(t, s, "-")
	require.True(t, s.Discontinued())
	plan := planFor(t, 500, 1.0)
	plan.Severity = Tightened
	_, err := s.After(plan, plan.SampleSize, 0)
	assert.ErrorIs(t, err, ErrDiscontinued)

	s = s.Resumed()
	assert.False(t, s.Discontinued())
	assert.Equal(t, Tightened, s.Severity())
}

// TestScore: ISO 2859-1:1999 9.3.3.2 (from memory), single sampling. At AQL 1.0 lots
// of 500 have Ac 1 and earn 2, so that the 15th in turn makes 30; lots of 1000 have
// Ac 2 and earn 3 with no more than the Ac 1 of AQL 0.65.
func TestScore(t *testing.T) {
	s := run(t, Scheme{ReduceBy: Reduced}, "++++++++++++++")
	assert.Equal(t, 28, s.Score())
	assert.Equal(t, Normal, s.Severity())
	assert.Equal(t, 0, run(t, s, "-").Score())
	s = run(t, s, "+")
	assert.Equal(t, Reduced, s.Severity())
	assert.Equal(t, Normal, run(t, s, "+-").Severity())
	assert.Equal(t, Normal, s.Reinstated().Severity())
	assert.Equal(t, Normal, run(t, Scheme{}, "++++++++++++++++++++").Severity(), "reduced inspection was not asked for")

	plan := planFor(t, 1000, 1.0)
	require.Equal(t, 2, plan.Accept)
	s = Scheme{ReduceBy: Reduced}
	for i, bad := range []int{0, 1, 0, 2, 1} {
		var err error
		s, err = s.After(plan, plan.SampleSize, bad)
		require.NoError(t, err)
		assert.Equal(t, []int{3, 6, 9, 0, 3}[i], s.Score()) // 2 bad chips are accepted, but not at 0.65
	}
	// Broken off when its acceptance was certain, but not that at 0.65.
	s, err := s.After(plan, plan.SampleSize-1, 1)
	require.NoError(t, err)
	assert.Equal(t, 0, s.Score())
}

func TestBetweenReinstates(t *testing.T) {
	s := run(t, Scheme{ReduceBy: Reduced105E}, "+++++++++++++++")
	require.Equal(t, Reduced105E, s.Severity())
	plan, err := PlanFor(500, 1.0, II, Reduced105E)
	require.NoError(t, err)
	s, err = s.After(plan, plan.SampleSize, 1) // Ac 0, Re 2
	require.NoError(t, err)
	assert.Equal(t, Normal, s.Severity())
}

func TestRefusedOutcomes(t *testing.T) {
	plan := planFor(t, 500, 1.0)
	_, err := Scheme{}.After(plan, 10, 0)
	assert.ErrorContains(t, err, "not decided")
	plan.Severity = Tightened
	_, err = Scheme{}.After(plan, plan.SampleSize, 0)
	assert.ErrorContains(t, err, "the scheme is at normal")
}

// TestSchemeIsAValue: a scheme that went on leaves the one it came from as it was.
func TestSchemeIsAValue(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lots := rapid.StringMatching(`[+-]{0,12}`).Draw(t, "lots")
		s := Scheme{ReduceBy: Reduced}
		for i := range lots {
			if s.Discontinued() {
				return
			}
			once := run(t, s, lots[i:i+1])
			run(t, s, "-")
			assert.Equal(t, once, run(t, s, lots[i:i+1]))
			s = once
		}
	})
}
