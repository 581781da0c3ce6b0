package lot

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// ISO 2859-1 clause 1 and MIL-STD-105E paragraph 4.2: AQLs over 10 apply to
// nonconformities per 100 units only.
func TestPlansForChips(t *testing.T) {
	_, err := PlanForChips(500, 15, II, Normal)
	assert.ErrorContains(t, err, "AQL 15: an AQL above 10 counts nonconformities per 100 chips")
	_, err = PlanForChips(500, 1.1, II, Normal)
	assert.EqualError(t, err, "AQL 1.1: one of 0.010, 0.015, 0.025, 0.040, 0.065, 0.10, 0.15, 0.25, 0.40, 0.65, 1.0, 1.5, 2.5, 4.0, 6.5, 10")
	plan, err := PlanForChips(500, 10, II, Normal)
	assert.NoError(t, err)
	assert.Equal(t, []int{50, 10, 11}, []int{plan.SampleSize, plan.Accept, plan.Reject}) // MIL-STD-105E Table II-A, H
}

func TestLevelsAndSeveritiesAsTyped(t *testing.T) {
	for typed, want := range map[string]Level{"II": II, " ii": II, "3": III, "S-2": S2, "s4": S4} {
		got, err := ParseLevel(typed)
		assert.NoError(t, err)
		assert.Equal(t, want, got)
	}
	for _, typed := range []string{"", "IV", "S5", "4"} {
		_, err := ParseLevel(typed)
		assert.ErrorContains(t, err, "one of S-1, S-2, S-3, S-4, I, II, III")
	}
	got, err := ParseSeverity("Tightened")
	assert.NoError(t, err)
	assert.Equal(t, Tightened, got)
	_, err = ParseSeverity("strict")
	assert.ErrorContains(t, err, "one of normal, tightened, reduced, reduced-105E")
}
