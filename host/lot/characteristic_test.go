package lot

import (
	"math"
	"math/big"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/combin"
	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

func planFor(t require.TestingT, size int, aql float64) Plan {
	plan, err := PlanFor(size, aql, II, Normal)
	require.NoError(t, err)
	return plan
}

// TestTabulatedQualities compares with MIL-STD-105E Table X-J-1, tabulated values
// for the operating characteristic curves of code letter J (80 chips), per cent
// defective; from memory. It prints three digits, of which the last is not always the
// nearest: 0.7 % are allowed.
func TestTabulatedQualities(t *testing.T) {
	accepted := []float64{0.99, 0.95, 0.90, 0.75, 0.50, 0.25, 0.10, 0.05, 0.01}
	for _, c := range []struct {
		aql     float64
		percent []float64
	}{
		{0.15, []float64{0.0126, 0.0641, 0.132, 0.359, 0.863, 1.72, 2.84, 3.68, 5.59}},
		{0.65, []float64{0.187, 0.446, 0.667, 1.20, 2.09, 3.33, 4.78, 5.79, 8.01}},
		{1.0, []float64{0.550, 1.03, 1.38, 2.16, 3.33, 4.84, 6.52, 7.66, 10.1}},
		{1.5, []float64{1.05, 1.73, 2.20, 3.18, 4.57, 6.31, 8.16, 9.41, 12.0}},
	} {
		plan := planFor(t, 1000, c.aql)
		require.Equal(t, 80, plan.SampleSize)
		for i, pa := range accepted {
			got := 100 * plan.Quality(pa)
			assert.InEpsilon(t, c.percent[i], got, 0.007, "AQL %g at %g", c.aql, pa)
			assert.InDelta(t, pa, plan.AcceptProcess(got/100), 1e-9)
		}
	}
}

// A sample of two that rejects with two bad ones accepts 1 - p² of what comes from a
// process of p nonconforming, and half of it at √½: plain arithmetic.
func TestASampleThatAllMustFail(t *testing.T) {
	p := Plan{LotSize: 8, AQL: 10, SampleSize: 2, Accept: 0, Reject: 2}
	assert.InDelta(t, 1-0.3*0.3, p.AcceptProcess(0.3), 1e-12)
	assert.InDelta(t, math.Sqrt(0.5), p.Quality(0.5), 1e-9)
	p.Reject = 3 // which two chips cannot reach
	assert.InDelta(t, 1, p.AcceptProcess(0.3), 0)
	assert.InDelta(t, 1, p.Quality(0.5), 0)
}

// TestPublishedRisks has points read in published pages.
func TestPublishedRisks(t *testing.T) {
	// samplingplans.com, forum, S. Hilliard, 7 February 2006: n = 68, c = 2 by the
	// binomial distribution accepts 0.95 at 1.213 % and 0.05 at 8.9704 %.
	p := Plan{LotSize: 100_000, AQL: 1, SampleSize: 68, Accept: 2, Reject: 3}
	assert.InDelta(t, 0.01213, p.Quality(0.95), 0.000005)
	assert.InDelta(t, 0.089704, p.Quality(0.05), 0.0000005)

	// A. Birolini, Reliability Engineering, 5th edition, section 7.1: 195 chips
	// with one bad one allowed prove an LTPD of 2 % at a consumer's risk of 0.1
	// (by Poisson's approximation).
	p = Plan{LotSize: 100_000, AQL: 0.25, SampleSize: 195, Accept: 1, Reject: 2}
	assert.InDelta(t, 0.1, p.AcceptProcess(0.02), 0.004)
}

// exactHypergeometric counts with whole numbers.
func exactHypergeometric(lot, bad, sample, most int) float64 {
	ways := new(big.Int)
	for k := 0; k <= min(most, bad, sample); k++ {
		if sample-k <= lot-bad {
			a := new(big.Int).Binomial(int64(bad), int64(k))
			b := new(big.Int).Binomial(int64(lot-bad), int64(sample-k))
			ways.Add(ways, a.Mul(a, b))
		}
	}
	all := new(big.Int).Binomial(int64(lot), int64(sample))
	f, _ := new(big.Rat).SetFrac(ways, all).Float64()
	return f
}

// TestLotExact compares the lot's curve with counting and, where it is small
// enough, with gonum's number of combinations.
func TestLotExact(t *testing.T) {
	for _, plan := range []Plan{planFor(t, 500, 1.0), planFor(t, 60, 6.5), planFor(t, 1200, 0.4), planFor(t, 10, 1.0)} {
		for bad := 0; bad <= plan.LotSize; bad += 1 + plan.LotSize/97 {
			want := exactHypergeometric(plan.LotSize, bad, plan.SampleSize, plan.Accept)
			assert.InDelta(t, want, plan.AcceptLot(bad), 1e-10, "%d bad of %d", bad, plan.LotSize)
		}
	}
	plan := planFor(t, 30, 2.5) // 5 chips, none bad
	want := float64(combin.Binomial(27, 5)) / float64(combin.Binomial(30, 5))
	assert.InDelta(t, want, plan.AcceptLot(3), 1e-12)
}

// TestProcessExact adds the binomial distribution up term by term.
func TestProcessExact(t *testing.T) {
	plan := planFor(t, 5000, 1.0)
	for _, p := range []float64{0, 0.001, 0.01, 0.02, 0.05, 0.2, 1} {
		want := 0.0
		for k := 0; k <= plan.Accept; k++ {
			want += combin.GeneralizedBinomial(float64(plan.SampleSize), float64(k)) *
				math.Pow(p, float64(k)) * math.Pow(1-p, float64(plan.SampleSize-k))
		}
		assert.InDelta(t, want, plan.AcceptProcess(p), 1e-12)
	}
}

// TestLotCharacteristic has the figures of the plan for 500 chips at AQL 1.0, level
// II: 50 chips, 1 bad one allowed. By hand: 5 bad chips in the lot are at the AQL;
// (1-p)^50 + 50 p (1-p)^49 at p = 0.01 is 0.9106.
func TestLotCharacteristic(t *testing.T) {
	plan := planFor(t, 500, 1.0)
	c := plan.Characteristic()
	assert.InDelta(t, 1-0.9106, c.ProducersRisk, 0.00005)
	assert.Equal(t, 5, c.AtAQL)
	assert.InDelta(t, 1-exactHypergeometric(500, 5, 50, 1), c.ProducersRiskLot, 1e-10)
	assert.InDelta(t, 0.10, plan.AcceptProcess(c.LTPD), 1e-9)
	assert.InDelta(t, 0.50, plan.AcceptProcess(c.Quality50), 1e-9)
	assert.InDelta(t, 0.95, plan.AcceptProcess(c.Quality95), 1e-9)
	assert.LessOrEqual(t, exactHypergeometric(500, c.AtLTPD, 50, 1), 0.10)
	assert.Greater(t, exactHypergeometric(500, c.AtLTPD-1, 50, 1), 0.10)
	assert.InDelta(t, exactHypergeometric(500, c.AtLTPD, 50, 1), c.ConsumersRiskLot, 1e-10)
}

// TestWholeLot: with every chip tested the lot's curve is a step.
func TestWholeLot(t *testing.T) {
	plan := planFor(t, 10, 1.0)
	require.True(t, plan.WholeLot)
	assert.Equal(t, 1.0, plan.AcceptLot(0))
	assert.Equal(t, 0.0, plan.AcceptLot(1))
	assert.Equal(t, 1, plan.Characteristic().AtLTPD)
}

// TestNonconformities: above AQL 10 the standard's curves are Poisson's.
func TestNonconformities(t *testing.T) {
	plan := planFor(t, 100, 65) // F: 20 chips, 21 nonconformities
	require.Equal(t, []int{20, 21}, []int{plan.SampleSize, plan.Accept})
	assert.InDelta(t, distuv.Poisson{Lambda: 13}.CDF(21), plan.AcceptProcess(0.65), 1e-12)
	assert.InDelta(t, 0.10, plan.AcceptProcess(plan.Quality(0.10)), 1e-9)
	assert.True(t, math.IsNaN(plan.AcceptLot(1)))
	assert.Equal(t, -1, plan.Characteristic().AtLTPD)
}

func drawPlan(t *rapid.T) Plan {
	plan, err := PlanFor(rapid.IntRange(2, 3000).Draw(t, "size"),
		rapid.SampledFrom(AQLs()[:16]).Draw(t, "AQL"), // to 10: nonconforming chips
		rapid.SampledFrom(Levels()).Draw(t, "level"), rapid.SampledFrom(Severities()).Draw(t, "severity"))
	require.NoError(t, err)
	return plan
}

// TestWorseIsAcceptedLess: the probability of acceptance falls with quality.
func TestWorseIsAcceptedLess(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		plan := drawPlan(t)
		a, b := rapid.Float64Range(0, 1).Draw(t, "a"), rapid.Float64Range(0, 1).Draw(t, "b")
		better, worse := min(a, b), max(a, b)
		assert.GreaterOrEqual(t, plan.AcceptProcess(better)+1e-12, plan.AcceptProcess(worse))
		bad := rapid.IntRange(0, plan.LotSize-1).Draw(t, "bad")
		assert.GreaterOrEqual(t, plan.AcceptLot(bad)+1e-10, plan.AcceptLot(bad+1))
	})
}

// TestTightenedIsStricter: on the same lot and quality the tightened plan never
// accepts more often than the normal one, to what the arrows allow: both may lead
// to the same plan.
func TestTightenedIsStricter(t *testing.T) {
	for _, aql := range AQLs()[:16] {
		for _, size := range []int{30, 100, 500, 2000, 20000} {
			normal, err := PlanFor(size, aql, II, Normal)
			require.NoError(t, err)
			tightened, err := PlanFor(size, aql, II, Tightened)
			require.NoError(t, err)
			for _, p := range []float64{0.001, 0.01, 0.05, 0.2} {
				assert.LessOrEqual(t, tightened.AcceptProcess(p), normal.AcceptProcess(p)+1e-12, "%d chips, AQL %g, at %g", size, aql, p)
			}
		}
	}
}

// TestZeroDefects: 1 - 0.05^(1/n), about 3/n (the rule of three), with 59 chips for
// 5 % and 299 for 1 % as reliability handbooks have them (common practice).
func TestZeroDefects(t *testing.T) {
	proven := func(n int) float64 { return Prove(0, n, 0).MostFraction }
	assert.Equal(t, 1.0, proven(0))
	assert.InDelta(t, 0.95, proven(1), 1e-9)
	assert.InDelta(t, 0.2589, proven(10), 0.00005) // 1 - 0.05^0.1
	assert.InDelta(t, 0.0295, proven(100), 0.00005)
	assert.Equal(t, 59, ChipsToProve(0.05))
	assert.Equal(t, 299, ChipsToProve(0.01))
	assert.Equal(t, 22, ChipsToProve(0.13))
	for n := 1; n < 400; n++ {
		assert.Equal(t, n, ChipsToProve(proven(n)))
		assert.InDelta(t, 0.05, math.Pow(1-proven(n), float64(n)), 1e-9)
	}
}

func TestZeroDefectsOfALot(t *testing.T) {
	for _, c := range []struct{ size, n int }{{500, 50}, {100, 100}, {100, 99}, {20, 5}, {1000, 1}, {7, 0}} {
		most := ProvenLot(c.size, c.n)
		if most < c.size {
			assert.Less(t, exactHypergeometric(c.size, most+1, c.n, 0), 0.05, "%+v", c)
		}
		assert.GreaterOrEqual(t, exactHypergeometric(c.size, most, c.n, 0), 0.05, "%+v", c)
	}
	assert.Equal(t, 0, ProvenLot(100, 100))
	assert.Equal(t, 7, ProvenLot(7, 0))
}
