// Package sample chooses which of many cases a test tries. An ordinary run tries a
// random sample, and the test logs its seed; a long run tries all:
//
//	CHIPASSAY_LONG=1 go test ./host/assay      all of them
//	CHIPASSAY_SEED=7 go test ./host/assay      others; without it the seed is 1
package sample

import (
	"hash/fnv"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"
)

const (
	longVariable = "CHIPASSAY_LONG"
	seedVariable = "CHIPASSAY_SEED"
)

// Long reports whether the tests try all that they have.
func Long() bool { return os.Getenv(longVariable) != "" }

// Number is how many of something a test tries: that of the ordinary run or of
// the long one.
func Number(ordinary, long int) int {
	if Long() {
		return long
	}
	return ordinary
}

// Random is the source of what a test chooses. It depends on the seed and on the
// test's name, so that a subtest run alone chooses as it did among the others.
func Random(t testing.TB) *rand.Rand {
	t.Helper()
	text := os.Getenv(seedVariable)
	if text == "" {
		text = "1"
	}
	seed, err := strconv.ParseUint(text, 10, 64)
	if err != nil {
		t.Fatalf("%s=%s: the seed is a number from 0 on", seedVariable, text)
	}
	if !Long() {
		t.Logf("a sample by %s=%d; %s=1 tries all", seedVariable, seed, longVariable)
	}
	name := fnv.New64a()
	name.Write([]byte(t.Name()))
	return rand.New(rand.NewPCG(seed, name.Sum64()))
}

// Of chooses n of all cases and keeps their order; in the long run, and where
// there are no more than n, it gives all.
func Of[T any](random *rand.Rand, n int, all []T) []T {
	if Long() || n >= len(all) {
		return all
	}
	chosen := random.Perm(len(all))[:n]
	slices.Sort(chosen)
	some := make([]T, n)
	for i, index := range chosen {
		some[i] = all[index]
	}
	return some
}
