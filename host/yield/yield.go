// Package yield tells how many of the chips tested were good, and how far that
// number can be trusted: with the 95 % interval of Clopper and Pearson, which is
// exact for any number of chips. It also ranks what failed most.
package yield

import (
	"cmp"
	"iter"
	"maps"
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

// Of returns the yield of so many good chips among those tested.
func Of(good, tested int) Yield {
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

// A Group is the yield of the chips that share a key: a part, a drawer, a year.
type Group[K cmp.Ordered] struct {
	Key K `json:"key"`
	Yield
}

// By groups chips, each given by its key and whether it is good, in the order of
// their keys.
func By[K cmp.Ordered](chips iter.Seq2[K, bool]) []Group[K] {
	good, tested := map[K]int{}, map[K]int{}
	for key, ok := range chips {
		tested[key]++
		if ok {
			good[key]++
		}
	}
	groups := make([]Group[K], 0, len(tested))
	for _, key := range slices.Sorted(maps.Keys(tested)) {
		groups = append(groups, Group[K]{key, Of(good[key], tested[key])})
	}
	return groups
}

// A Count is how often something was found: a pin that failed, a cause.
type Count[K cmp.Ordered] struct {
	Key   K   `json:"key"`
	Chips int `json:"chips"`
}

// Commonest ranks what was found by how often, the most frequent first and equally
// frequent ones by their keys, and returns no more than most of them.
func Commonest[K cmp.Ordered](found iter.Seq[K], most int) []Count[K] {
	chips := map[K]int{}
	for key := range found {
		chips[key]++
	}
	counts := make([]Count[K], 0, len(chips))
	for key, n := range chips {
		counts = append(counts, Count[K]{key, n})
	}
	slices.SortFunc(counts, func(a, b Count[K]) int {
		return cmp.Or(cmp.Compare(b.Chips, a.Chips), cmp.Compare(a.Key, b.Key))
	})
	return counts[:min(most, len(counts))]
}
