package sample

import (
	"math"
	"slices"
	"testing"
)

func hundred() (all []int) {
	for i := range 100 {
		all = append(all, i)
	}
	return all
}

func TestASampleIsRepeatable(t *testing.T) {
	t.Setenv(longVariable, "")
	all := hundred()
	chosen := func(seed string) []int {
		t.Setenv(seedVariable, seed)
		return Of(Random(t), 10, all)
	}
	first := chosen("7")
	if len(first) != 10 || !slices.IsSorted(first) || len(slices.Compact(slices.Clone(first))) != 10 {
		t.Errorf("ten of a hundred in their order: %v", first)
	}
	if again := chosen("7"); !slices.Equal(first, again) {
		t.Errorf("by one seed %v and %v", first, again)
	}
	if other := chosen("8"); slices.Equal(first, other) {
		t.Errorf("by another seed the same: %v", other)
	}
	if usual := chosen(""); !slices.Equal(usual, chosen("1")) {
		t.Errorf("without a seed %v, and not as by 1", usual)
	}
	var named []int
	t.Run("another test", func(t *testing.T) { named = Of(Random(t), 10, all) })
	if slices.Equal(named, chosen("1")) {
		t.Error("two tests chose the same")
	}
	if few := Of(Random(t), 100, all); !slices.Equal(few, all) {
		t.Errorf("a hundred of a hundred: %v", few)
	}
}

// Each case has the same chance: of 1,000 samples of 10 in 100 each is in some 100
// of them; the standard deviation is √(1000 × 0.1 × 0.9) = 9.5.
func TestEachHasTheSameChance(t *testing.T) {
	t.Setenv(longVariable, "")
	random, all := Random(t), hundred()
	var times [100]int
	for range 1000 {
		for _, i := range Of(random, 10, all) {
			times[i]++
		}
	}
	for i, n := range times {
		if math.Abs(float64(n)-100) > 5*9.5 {
			t.Errorf("case %d was chosen %d times in 1,000", i, n)
		}
	}
}

func TestTheLongRunTriesAll(t *testing.T) {
	t.Setenv(longVariable, "1")
	if got := Of(Random(t), 10, hundred()); len(got) != 100 {
		t.Errorf("%d of a hundred", len(got))
	}
	if !Long() || Number(3, 300) != 300 {
		t.Error("not long")
	}
	t.Setenv(longVariable, "")
	if Long() || Number(3, 300) != 3 {
		t.Error("long")
	}
}

// Of 90 cases of one kind and 10 of another two each are chosen.
func TestOfEachKindThereIsOne(t *testing.T) {
	t.Setenv(longVariable, "")
	rare := func(i int) bool { return i%10 == 9 }
	got := OfEach(Random(t), 2, hundred(), rare)
	if len(got) != 4 || !slices.IsSorted(got) || len(slices.DeleteFunc(slices.Clone(got), rare)) != 2 {
		t.Errorf("two of each of two kinds, in their order: %v", got)
	}
	t.Setenv(longVariable, "1")
	if got := OfEach(Random(t), 2, hundred(), rare); len(got) != 100 {
		t.Errorf("%d of a hundred", len(got))
	}
}
