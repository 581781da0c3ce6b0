package lot

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
)

// TestDecide has the plan of 50 chips with Ac 1, Re 2.
func TestDecide(t *testing.T) {
	plan := planFor(t, 500, 1.0)
	for _, c := range []struct {
		tested, bad int
		want        Decision
	}{
		{0, 0, GoOn}, {1, 1, GoOn}, {2, 2, Reject}, {48, 0, GoOn}, {49, 0, Accept},
		{49, 1, GoOn}, {50, 1, Accept}, {50, 2, Reject}, {50, 0, Accept},
	} {
		assert.Equal(t, c.want, Decide(plan, c.tested, c.bad), "%d tested, %d bad", c.tested, c.bad)
	}
}

// TestDecideBetween: MIL-STD-105E 4.7.4 b, more than Ac and fewer than Re on reduced
// inspection: the lot is accepted and normal inspection reinstated.
func TestDecideBetween(t *testing.T) {
	plan := Plan{LotSize: 500, AQL: 1, Severity: Reduced105E, SampleSize: 20, Accept: 0, Reject: 2}
	assert.Equal(t, Accept, Decide(plan, 20, 1))
	assert.True(t, plan.ReinstatesNormal(1))
	assert.False(t, plan.ReinstatesNormal(0))
	assert.False(t, plan.ReinstatesNormal(2))
	assert.Equal(t, Accept, Decide(plan, 19, 0))
}

// TestDecideNonconformities: the last chip may have many, so all are looked at.
func TestDecideNonconformities(t *testing.T) {
	plan := Plan{LotSize: 500, AQL: 40, SampleSize: 20, Accept: 14, Reject: 15}
	assert.Equal(t, GoOn, Decide(plan, 19, 0))
	assert.Equal(t, Accept, Decide(plan, 20, 14))
	assert.Equal(t, Reject, Decide(plan, 3, 15))
}

// TestDecisionHolds: a decision never flips, is that of the whole sample, and comes
// with the first chip after which the rest cannot change it.
func TestDecisionHolds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		plan := drawPlan(t)
		badOneIn := rapid.IntRange(1, 60).Draw(t, "one bad chip in")
		decided, bad := GoOn, 0
		for tested := 1; tested <= plan.SampleSize; tested++ {
			if rapid.IntRange(1, badOneIn).Draw(t, "chip") == 1 {
				bad++
			}
			now := Decide(plan, tested, bad)
			if decided != GoOn {
				assert.Equal(t, decided, now)
			}
			left := plan.SampleSize - tested
			if now == GoOn { // both ends must still be possible
				assert.Less(t, bad, plan.Reject)
				assert.GreaterOrEqual(t, bad+left, plan.Reject)
			}
			decided = now
		}
		assert.Equal(t, bad >= plan.Reject, decided == Reject)
		assert.NotEqual(t, GoOn, decided)
	})
}
