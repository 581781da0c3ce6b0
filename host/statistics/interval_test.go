package statistics

import (
	"cmp"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/stat/combin"
	"pgregory.net/rapid"
)

// TestPublishedIntervals: the 95 % ones of 0 to 10 of 10 are in the tables of
// statistics books (from memory: Documenta Geigy, exact confidence limits for p);
// the others in the example table of a page on the interval, codingace.net.
func TestPublishedIntervals(t *testing.T) {
	for _, c := range []struct {
		k, n                  int
		confidence, low, high float64
	}{
		{0, 10, 0.95, 0, 0.3085},
		{1, 10, 0.95, 0.0025, 0.4450},
		{2, 10, 0.95, 0.0252, 0.5561},
		{3, 10, 0.95, 0.0667, 0.6525},
		{5, 10, 0.95, 0.1871, 0.8129},
		{9, 10, 0.95, 0.5550, 0.9975},
		{10, 10, 0.95, 0.6915, 1},
		{3, 20, 0.95, 0.0321, 0.3789},
		{12, 30, 0.90, 0.2495, 0.5661},
		{42, 100, 0.95, 0.3220, 0.5229},
		{85, 120, 0.99, 0.5904, 0.8092},
		{0, 0, 0.95, 0, 1},
	} {
		low, high := ClopperPearson(c.k, c.n, c.confidence)
		assert.InDelta(t, c.low, low, 0.00006, "%d of %d", c.k, c.n)
		assert.InDelta(t, c.high, high, 0.00006, "%d of %d", c.k, c.n)
	}
}

// TestByDefinition adds the tails up: at the lower limit k or more, at the upper k
// or fewer good chips have a probability of 2.5 %.
func TestByDefinition(t *testing.T) {
	tail := func(n, from, to int, p float64) float64 {
		sum := 0.0
		for k := from; k <= to; k++ {
			sum += math.Exp(combin.LogGeneralizedBinomial(float64(n), float64(k)) +
				float64(k)*math.Log(p) + float64(n-k)*math.Log1p(-p))
		}
		return sum
	}
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 400).Draw(t, "tested")
		k := rapid.IntRange(0, n).Draw(t, "good")
		y := YieldOf(k, n)
		assert.LessOrEqual(t, y.Low, y.Fraction())
		assert.GreaterOrEqual(t, y.High, y.Fraction())
		if k > 0 {
			assert.InDelta(t, 0.025, tail(n, k, n, y.Low), 1e-8)
		}
		if k < n {
			assert.InDelta(t, 0.025, tail(n, 0, k, y.High), 1e-8)
		}
		mirror := YieldOf(n-k, n)
		assert.InDelta(t, 1-mirror.High, y.Low, 1e-9)
	})
}

func TestManyChips(t *testing.T) {
	y := YieldOf(987_654, 1_000_000)
	half := 1.96 * math.Sqrt(0.987654*0.012346/1e6) // the normal approximation
	assert.InDelta(t, 0.987654-half, y.Low, 2e-6)
	assert.InDelta(t, 0.987654+half, y.High, 2e-6)
	assert.True(t, math.IsNaN(YieldOf(0, 0).Fraction()))
}

func TestCommonest(t *testing.T) {
	pins := slices.Values([]int{8, 3, 6, 3, 8, 3, 11})
	assert.Equal(t, []Count[int]{{3, 3}, {8, 2}, {6, 1}}, Commonest(pins, 3, cmp.Compare))
	assert.Empty(t, Commonest(slices.Values([]string{}), 5, cmp.Compare))
}
