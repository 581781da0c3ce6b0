package lot

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// AcceptLot is the probability that the plan accepts a lot of its size that holds
// so many nonconforming chips, exact by the hypergeometric distribution: the
// sample is drawn without putting back. It is NaN for numbers that the lot cannot
// hold and for an AQL that counts nonconformities.
func (p Plan) AcceptLot(nonconforming int) float64 {
	if nonconforming < 0 || nonconforming > p.LotSize || p.AQL > PerCent {
		return math.NaN()
	}
	return hypergeometric(p.LotSize, nonconforming, p.SampleSize, p.Reject-1)
}

// AcceptProcess is the probability that the plan accepts lots from a process that
// makes a fraction (0 to 1) of nonconforming chips, by the binomial distribution.
// For an AQL that counts nonconformities the fraction is their mean number a chip
// and the distribution Poisson's, as in the standard.
func (p Plan) AcceptProcess(fraction float64) float64 {
	most := float64(p.Reject - 1)
	switch {
	case p.AQL > PerCent:
		return distuv.Poisson{Lambda: fraction * float64(p.SampleSize)}.CDF(most)
	case p.Reject > p.SampleSize:
		return 1
	}
	return distuv.Binomial{N: float64(p.SampleSize), P: fraction}.CDF(most)
}

// Quality is the fraction nonconforming (for an AQL above PerCent: the mean
// number of nonconformities a chip) of the process whose lots the plan accepts
// with a probability between 0 and 1. It is 1 if the plan accepts everything.
func (p Plan) Quality(accepted float64) float64 {
	rejected := float64(p.Reject)
	switch {
	case p.AQL > PerCent:
		return distuv.Gamma{Alpha: rejected, Beta: 1}.Quantile(1-accepted) / float64(p.SampleSize)
	case p.Reject > p.SampleSize:
		return 1
	}
	// X of n is over c with the probability that a Beta(c+1, n-c) is under p.
	return distuv.Beta{Alpha: rejected, Beta: float64(p.SampleSize-p.Reject) + 1}.Quantile(1 - accepted)
}

// A Characteristic is what a plan is worth to both sides. Probabilities and
// qualities are fractions, 0 to 1.
type Characteristic struct {
	// The producer's risk is that a lot of AQL quality is rejected: one from a
	// process at the AQL, and one of the plan's size with as many nonconforming
	// chips as the AQL allows, which is AtAQL.
	ProducersRisk    float64 `json:"producers_risk"`
	ProducersRiskLot float64 `json:"producers_risk_lot"`
	AtAQL            int     `json:"nonconforming_at_aql"`

	// Qualities of processes whose lots are accepted with a probability of 0.95,
	// 0.50 and 0.10. The last is the lot tolerance per cent defective: at it the
	// consumer's risk is 0.10.
	Quality95 float64 `json:"quality_pa_95"`
	Quality50 float64 `json:"quality_pa_50"`
	LTPD      float64 `json:"ltpd"`

	// AtLTPD is the smallest number of nonconforming chips with which a lot of
	// the plan's size is accepted with a probability of 0.10 or less, and
	// ConsumersRiskLot that probability. AtLTPD is -1 if there is no such number.
	AtLTPD           int     `json:"nonconforming_at_ltpd"`
	ConsumersRiskLot float64 `json:"consumers_risk_lot"`
}

const consumersRisk = 0.10 // of the lot tolerance per cent defective

// Characteristic computes what the plan is worth. The lot's exact figures are 0
// and -1 for an AQL that counts nonconformities.
func (p Plan) Characteristic() Characteristic {
	c := Characteristic{
		ProducersRisk: 1 - p.AcceptProcess(p.AQL/100),
		Quality95:     p.Quality(0.95),
		Quality50:     p.Quality(0.50),
		LTPD:          p.Quality(consumersRisk),
		AtLTPD:        -1,
	}
	if p.AQL > PerCent {
		return c
	}
	c.AtAQL = int(p.AQL*float64(p.LotSize)/100 + 1e-9) // 1e-9: 0.07 × 100 is not a hair under 7
	c.ProducersRiskLot = 1 - p.AcceptLot(c.AtAQL)
	low, high := 0, p.LotSize
	for low < high {
		middle := (low + high) / 2
		if p.AcceptLot(middle) <= consumersRisk {
			high = middle
		} else {
			low = middle + 1
		}
	}
	if risk := p.AcceptLot(low); risk <= consumersRisk {
		c.AtLTPD, c.ConsumersRiskLot = low, risk
	}
	return c
}

// A Risk is what a plan is worth to one of the two sides, in words.
type Risk struct {
	Name    string // "Producer's risk"
	Process string // of lots from a process
	Lot     string // of lots of the plan's own size; empty where there is no such number of chips
}

// Risks are the producer's and the consumer's.
func (p Plan) Risks() [2]Risk {
	c := p.Characteristic()
	producer := Risk{"Producer's risk", fmt.Sprintf("%.1f %% of lots from a process at the AQL are rejected", 100*c.ProducersRisk),
		fmt.Sprintf("of lots of %d with %d nonconforming chips, %.1f %% are rejected", p.LotSize, c.AtAQL, 100*c.ProducersRiskLot)}
	consumer := Risk{Name: "Consumer's risk", Process: fmt.Sprintf("10 %% of lots from a process with %.1f %% nonconforming are accepted", 100*c.LTPD)}
	if c.AtLTPD >= 0 {
		consumer.Lot = fmt.Sprintf("of lots of %d with %d nonconforming chips, %.1f %% are accepted", p.LotSize, c.AtLTPD, 100*c.ConsumersRiskLot)
	}
	return [2]Risk{producer, consumer}
}

// hypergeometric is the probability of at most this many bad chips in a sample
// from a lot that holds bad ones.
func hypergeometric(lot, bad, sample, most int) float64 {
	first := max(0, sample-(lot-bad)) // the fewest that the sample can hold
	last := min(bad, sample)
	if most >= last {
		return 1
	}
	if most < first {
		return 0
	}
	term := math.Exp(logChoose(bad, first) + logChoose(lot-bad, sample-first) - logChoose(lot, sample))
	sum := term
	for k := first; k < most; k++ {
		term *= float64(bad-k) * float64(sample-k) / (float64(k+1) * float64(lot-bad-sample+k+1))
		sum += term
	}
	return min(sum, 1)
}

// logChoose is the natural logarithm of the number of ways to choose k of n.
func logChoose(n, k int) float64 {
	a, _ := math.Lgamma(float64(n) + 1)
	b, _ := math.Lgamma(float64(k) + 1)
	c, _ := math.Lgamma(float64(n-k) + 1)
	return a - b - c
}
