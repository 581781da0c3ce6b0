package sample

import (
	"fmt"
	"math/rand/v2"
	"slices"

	"chipassay/vectors/part"
)

// OfEach chooses n of the cases of each kind and keeps their order; in the long run it
// gives all.
func OfEach[T any, K comparable](random *rand.Rand, n int, all []T, kind func(T) K) []T {
	if Long() {
		return all
	}
	left := map[K]int{}
	var chosen []int
	for _, i := range random.Perm(len(all)) {
		if k := kind(all[i]); left[k] < n {
			left[k]++
			chosen = append(chosen, i)
		}
	}
	slices.Sort(chosen)
	some := make([]T, len(chosen))
	for i, index := range chosen {
		some[i] = all[index]
	}
	return some
}

// KindOf is what sets a type apart from others electrically and in how it is tested: the
// kind and the technology of the part, its package, whether it remembers, and what its outputs
// are.
func KindOf(t part.Type) string {
	var roles, stages uint64
	for _, p := range t.Variant.Pins {
		roles |= 1 << p.Role
		if p.Role == part.Output || p.Role == part.Bidirectional {
			stages |= 1 << p.Stage
		}
	}
	return fmt.Sprint(t.Part().Kind, t.Family.Technology, len(t.Variant.Pins), len(t.Variant.Logic.Registers) > 0, roles, stages)
}
