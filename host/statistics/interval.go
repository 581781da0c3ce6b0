package statistics

import (
	"cmp"
	"iter"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Confidence is that of a Yield's interval.
const Confidence = 0.95

// A Yield is a share of good chips. Low and High are fractions, 0 to 1.
type Yield struct {
	Good   int     `json:"good"`
	Tested int     `json:"tested"` // to a verdict: a chip that could not be tested does not count
	Low    float64 `json:"low"`
	High   float64 `json:"high"`
}

// YieldOf returns the yield of so many good chips among those tested.
func YieldOf(good, tested int) Yield {
	low, high := ClopperPearson(good, tested, Confidence)
	return Yield{good, tested, low, high}
}

// Fraction is the share of good chips, 0 to 1; NaN where none was tested.
func (y Yield) Fraction() float64 {
	if y.Tested == 0 {
		return math.NaN()
	}
	return float64(y.Good) / float64(y.Tested)
}

// ClopperPearson is the two-sided interval for the fraction of a supply from which
// k of n chips drawn at random were good: the fractions under and over which so
// many or more, so many or fewer, have half the probability that confidence (0 to
// 1) leaves. Of no chips it is 0 to 1. The limits are quantiles of the beta
// distribution. It is for a supply much larger than n.
//
// C. J. Clopper, E. S. Pearson: The use of confidence or fiducial limits
// illustrated in the case of the binomial. Biometrika 26 (1934), 404-413.
func ClopperPearson(k, n int, confidence float64) (low, high float64) {
	tail := (1 - confidence) / 2
	low, high = 0, 1
	if k > 0 {
		low = distuv.Beta{Alpha: float64(k), Beta: float64(n - k + 1)}.Quantile(tail)
	}
	if k < n {
		high = distuv.Beta{Alpha: float64(k + 1), Beta: float64(n - k)}.Quantile(1 - tail)
	}
	return low, high
}

// A Count is how often something was found: a pin that failed, a cause.
type Count[K comparable] struct {
	Key   K   `json:"key"`
	Chips int `json:"chips"`
}

// Commonest ranks what was found by how often, the most frequent first and equally
// frequent ones by their order, and returns no more than most of them.
func Commonest[K comparable](found iter.Seq[K], most int, order func(a, b K) int) []Count[K] {
	chips := map[K]int{}
	for key := range found {
		chips[key]++
	}
	counts := make([]Count[K], 0, len(chips))
	for key, n := range chips {
		counts = append(counts, Count[K]{key, n})
	}
	slices.SortFunc(counts, func(a, b Count[K]) int { return cmp.Or(cmp.Compare(b.Chips, a.Chips), order(a.Key, b.Key)) })
	return counts[:min(most, len(counts))]
}
