package lot

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/combin"
	"pgregory.net/rapid"
)

// drawn reads a sample: + conforming, - nonconforming, ? not tested.
func drawn(chips string) []Outcome {
	var list []Outcome
	for _, c := range chips {
		list = append(list, map[rune]Outcome{'+': Conforming, '-': Nonconforming, '?': NotTested}[c])
	}
	return list
}

// The plan is that of MIL-STD-105E Tables I and II-A: 26 to 50 chips, level II, D:
// 8 chips; at AQL 6.5 Ac 1, Re 2. The counts are made by hand.
func TestStandings(t *testing.T) {
	plan, err := PlanFor(40, 6.5, II, Normal)
	require.NoError(t, err)
	for _, c := range []struct {
		chips   string
		left    int
		words   string
		decided Decision
	}{
		{"", 8, "8 more chips of the sample to test: rejected at 2 more bad ones, accepted after 7 more chips without a bad one", GoOn},
		{"+++-", 4, "4 more chips of the sample to test: rejected at 1 more bad one, accepted after 4 more chips without a bad one", GoOn},
		{"++++++", 2, "2 more chips of the sample to test: rejected at 2 more bad ones, accepted after 1 more chip without a bad one", GoOn},
		{"+++++++", 1, "0 of 7 nonconforming: the 1 chip left cannot bring it to Re 2", Accept},
		{"?+++++++", 1, "0 of 7 nonconforming: the 1 chip left cannot bring it to Re 2", Accept},
		{"-+++++++", 0, "1 of 8 nonconforming: not more than Ac 1", Accept},
		{"-+++++?+---", 1, "1 more chip of the sample to test: rejected at 1 more bad one, accepted after 1 more chip without a bad one", GoOn},
		{"--", 6, "2 of 2 nonconforming: Re 2 is reached", Reject},
	} {
		s := Inspect(plan, slices.Values(drawn(c.chips)))
		assert.Equal(t, c.decided, s.Decision, c.chips)
		assert.Equal(t, c.left, s.Left(), c.chips)
		assert.Equal(t, c.words, s.Outlook(), c.chips)
	}
	assert.Equal(t, 3, Inspect(plan, slices.Values(drawn("-+++++?+---"))).Beyond)
}

// What the words of an outlook promise comes true, and no chip earlier.
func TestOutlookComesTrue(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		plan, err := PlanFor(rapid.IntRange(2, 2000).Draw(t, "size"), rapid.SampledFrom(AQLs()[:16]).Draw(t, "aql"), II, Normal)
		if err != nil {
			t.Fatal(err)
		}
		chips := rapid.SliceOfN(rapid.SampledFrom([]Outcome{NotTested, Conforming, Conforming, Nonconforming}), 0, plan.SampleSize).Draw(t, "chips")
		s := Inspect(plan, slices.Values(chips))
		if s.Decision != GoOn {
			return
		}
		if Decide(plan, s.Tested+s.MoreGood(), s.Nonconforming) != Accept || Decide(plan, s.Tested+s.MoreGood()-1, s.Nonconforming) == Accept {
			t.Fatal("good chips", s)
		}
		if Decide(plan, s.Tested+s.MoreBad(), s.Nonconforming+s.MoreBad()) != Reject || Decide(plan, s.Tested+s.MoreBad()-1, s.Nonconforming+s.MoreBad()-1) == Reject {
			t.Fatal("bad chips", s)
		}
	})
}

// The one-sided 95 % limits of Clopper and Pearson are those of tables of binomial
// confidence limits (upper ends of the two-sided 90 % interval; from memory).
func TestWhatChipsProve(t *testing.T) {
	for _, c := range []struct {
		n, bad int
		most   float64
	}{{10, 0, 0.2589}, {10, 1, 0.3942}, {10, 5, 0.7776}, {20, 1, 0.2161}, {30, 12, 0.5661}, {4, 4, 1}, {0, 0, 1}} {
		assert.InDelta(t, c.most, Prove(500, c.n, c.bad).MostFraction, 0.00006, "%d of %d", c.bad, c.n)
	}
	assert.InDelta(t, 0.0582, Prove(500, 50, 0).MostFraction, 0.00006) // 1 - 0.05^(1/50)
	assert.Equal(t, 3, Prove(50, 50, 3).MostInLot)                     // all are known
	assert.Equal(t, 50, Prove(50, 0, 0).MostInLot)                     // nothing is
}

// By adding up the hypergeometric distribution: with the number given, so few or
// fewer bad ones have a probability of 5 % or more, and with one more less.
func TestMostInLotByDefinition(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		size := rapid.IntRange(2, 60).Draw(t, "size")
		n := rapid.IntRange(0, size).Draw(t, "n")
		bad := rapid.IntRange(0, n).Draw(t, "bad")
		atMost := func(in int) float64 {
			sum := 0.0
			for k := 0; k <= min(bad, in); k++ {
				if n-k >= 0 && n-k <= size-in {
					sum += float64(combin.Binomial(in, k)) * float64(combin.Binomial(size-in, n-k)) / float64(combin.Binomial(size, n))
				}
			}
			return sum
		}
		most := Prove(size, n, bad).MostInLot
		if p := atMost(most); p < 0.05-1e-9 {
			t.Fatalf("%d are not possible: %g", most, p)
		}
		if most < size-n+bad && atMost(most+1) >= 0.05+1e-9 {
			t.Fatalf("%d are possible: %g", most+1, atMost(most+1))
		}
		need := ChipsToProveLot(size, bad)
		if ProvenLot(size, need) > bad || need > 0 && ProvenLot(size, need-1) <= bad {
			t.Fatalf("%d chips are not what it takes for %d", need, bad)
		}
	})
}

// The rules are those of TestSwitching; a lot that is open, or inspected otherwise
// than they ask, is passed over.
func TestSeriesPassesOverWhatDoesNotCount(t *testing.T) {
	at := func(severity Severity, chips string) Inspected {
		plan, err := PlanFor(40, 6.5, II, severity)
		require.NoError(t, err)
		return Inspected{Standing: Inspect(plan, slices.Values(drawn(chips)))}
	}
	good, bad := "++++++++", "----"
	severity := func(lots ...Inspected) Severity {
		s, err := Series(lots, Reduced)
		require.NoError(t, err)
		return s.Severity()
	}
	assert.Equal(t, Normal, severity())
	assert.Equal(t, Normal, severity(at(Normal, bad)))
	assert.Equal(t, Tightened, severity(at(Normal, bad), at(Normal, good), at(Normal, bad)))
	assert.Equal(t, Tightened, severity(at(Normal, bad), at(Normal, "+-"), at(Normal, bad)))
	assert.Equal(t, Normal, severity(at(Normal, bad), at(Tightened, bad)))
	assert.Equal(t, Tightened, severity(at(Normal, bad), at(Normal, bad), at(Normal, good), at(Tightened, good)))

	five := []Inspected{at(Normal, bad), at(Normal, bad)}
	for range 5 {
		five = append(five, at(Tightened, bad))
	}
	s, err := Series(append(five, at(Tightened, good)), "")
	require.NoError(t, err)
	assert.True(t, s.Discontinued())
	again := at(Tightened, good)
	again.Resumed = true
	s, err = Series(append(five, again), "")
	require.NoError(t, err)
	assert.False(t, s.Discontinued())
	assert.Equal(t, Tightened, s.Severity())
}
