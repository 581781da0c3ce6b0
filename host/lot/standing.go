package lot

import (
	"fmt"
	"iter"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// An Outcome is how one chip of a sample stands.
type Outcome uint8

const (
	NotTested     Outcome = iota // no verdict: the chip still has its place in the sample
	Conforming                   // passed, and not graded reject
	Nonconforming                // failed, or graded reject
)

// A Standing is where the inspection of a lot stands.
type Standing struct {
	Plan          Plan     `json:"-"`
	Drawn         int      `json:"drawn"`  // chips of the sample, no more than SampleSize
	Tested        int      `json:"tested"` // of them, to a verdict
	Nonconforming int      `json:"nonconforming"`
	Beyond        int      `json:"beyond_sample"` // chips tested under the lot after its sample was full; they do not count
	Decision      Decision `json:"decision"`
}

// Inspect counts the chips of a lot in the order in which they were drawn. The
// sample is the first SampleSize of them, whatever came of them: a chip that
// could not be tested is not replaced by another one, since what cannot be tested
// is perhaps what is bad.
func Inspect(plan Plan, drawn iter.Seq[Outcome]) Standing {
	s := Standing{Plan: plan}
	for outcome := range drawn {
		if s.Drawn == plan.SampleSize {
			s.Beyond++
			continue
		}
		s.Drawn++
		if outcome != NotTested {
			s.Tested++
		}
		if outcome == Nonconforming {
			s.Nonconforming++
		}
	}
	s.Decision = Decide(plan, s.Tested, s.Nonconforming)
	return s
}

// Left is how many chips of the sample have no verdict yet.
func (s Standing) Left() int { return s.Plan.SampleSize - s.Tested }

// NotTested is how many chips of the sample were drawn and have no verdict.
func (s Standing) NotTested() int { return s.Drawn - s.Tested }

// MoreBad is how many more nonconforming chips reject the lot; 0 once it is rejected.
func (s Standing) MoreBad() int { return max(0, s.Plan.Reject-s.Nonconforming) }

// MoreGood is how many more good chips in a row accept the lot; 0 once it is decided.
func (s Standing) MoreGood() int {
	if s.Decision != GoOn {
		return 0
	}
	return s.Left() - s.MoreBad() + 1
}

// Outlook says in words what is decided, or what still decides.
func (s Standing) Outlook() string {
	switch s.Decision {
	case Reject:
		return fmt.Sprintf("%d of %d nonconforming: Re %d is reached", s.Nonconforming, s.Tested, s.Plan.Reject)
	case Accept:
		if s.Left() > 0 {
			return fmt.Sprintf("%d of %d nonconforming: the %s left cannot bring it to Re %d", s.Nonconforming, s.Tested, count(s.Left(), "chip"), s.Plan.Reject)
		}
		return fmt.Sprintf("%d of %d nonconforming: not more than Ac %d", s.Nonconforming, s.Tested, s.Plan.Reject-1)
	}
	return fmt.Sprintf("%s of the sample to test: rejected at %s, accepted after %s without a bad one",
		count(s.Left(), "more chip"), count(s.MoreBad(), "more bad one"), count(s.MoreGood(), "more chip"))
}

// count writes a number of things.
func count(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}

// A Proof is what the tested chips of a lot prove, if they were drawn at random:
// upper limits of 95 % confidence, whatever the plan asks for.
type Proof struct {
	Tested        int     `json:"tested"`
	Nonconforming int     `json:"nonconforming"`
	MostFraction  float64 `json:"most_fraction"` // nonconforming in the supply, 0 to 1
	MostInLot     int     `json:"most_in_lot"`   // nonconforming chips in the lot, those found included
}

// Proof is what the tested chips of the sample prove.
func (s Standing) Proof() Proof { return Prove(s.Plan.LotSize, s.Tested, s.Nonconforming) }

// Prove is what n tested chips prove of a lot of size chips, of which so many were
// nonconforming. Without such a one the limit in the supply is 1 - 0.05^(1/n), about 3/n, and that in the lot ProvenLot.
func Prove(size, n, nonconforming int) Proof {
	p := Proof{Tested: n, Nonconforming: nonconforming, MostFraction: 1}
	if nonconforming < n {
		// The upper limit of Clopper and Pearson, one-sided.
		p.MostFraction = distuv.Beta{Alpha: float64(nonconforming + 1), Beta: float64(n - nonconforming)}.Quantile(1 - doubt)
	}
	p.MostInLot = provenLot(size, n, nonconforming)
	return p
}

// ChipsToProveLot is how many chips of a lot of size chips must be good without a
// bad one to prove with 95 % confidence that no more than most of it are bad.
func ChipsToProveLot(size, most int) int {
	low, high := 0, size
	for low < high {
		middle := (low + high) / 2
		if ProvenLot(size, middle) <= most {
			high = middle
		} else {
			low = middle + 1
		}
	}
	return low
}

// MostOf is the largest whole number of chips that is no more than a fraction of a lot.
func MostOf(fraction float64, size int) int {
	return int(math.Floor(fraction*float64(size) + 1e-9)) // 1e-9: 0.07 × 100 is not a hair under 7
}

// Words say what was proved of the supply and, unless its size is 0, of the lot.
func (p Proof) Words(size int) []string {
	if p.Tested == 0 {
		return []string{"no chip has a verdict yet, so nothing is proved"}
	}
	found := fmt.Sprintf("%s without a bad one", count(p.Tested, "good chip"))
	if p.Nonconforming > 0 {
		found = fmt.Sprintf("%d bad of %s", p.Nonconforming, count(p.Tested, "chip"))
	}
	lines := []string{fmt.Sprintf("%s, drawn at random, prove with 95 %% confidence: at most %s %% of the supply is bad", found, twoDigits(100*p.MostFraction))}
	if size > 0 {
		lines = append(lines, fmt.Sprintf("of this lot of %d, at most %s bad, those found included", size, are(p.MostInLot)))
	}
	return lines
}

func are(n int) string {
	if n == 1 {
		return "1 is"
	}
	return fmt.Sprintf("%d are", n)
}

// twoDigits writes a percentage with two digits that count.
func twoDigits(percent float64) string {
	if percent >= 10 {
		return fmt.Sprintf("%.0f", percent)
	}
	return fmt.Sprintf("%.2g", percent)
}
