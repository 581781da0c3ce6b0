package statistics

import (
	"fmt"
	"math"
	"strings"

	"chipassay/host/lot"
)

// lotChart draws the probability that a sampling plan accepts against the
// quality of what is handed in: the curve for a process, a dot for each number of
// nonconforming chips in a lot of the plan's own size, and rings at the qualities
// that the curve is known by.
func lotChart(title string, plan lot.Plan) string {
	c := plan.Characteristic()
	quality, unit := "per cent nonconforming", " %"
	if plan.AQL > lot.PerCent {
		quality, unit = "nonconformities per 100 chips", " per 100"
	}
	known := []struct {
		at, accepted float64
		words        string
	}{
		{plan.AQL / 100, 1 - c.ProducersRisk, fmt.Sprintf("AQL %s: producer's risk %.1f %%", lot.FormatAQL(plan.AQL), 100*c.ProducersRisk)},
		{c.Quality95, 0.95, fmt.Sprintf("95 %% accepted at %s", number(100*c.Quality95)+unit)},
		{c.Quality50, 0.50, fmt.Sprintf("50 %% accepted at %s", number(100*c.Quality50)+unit)},
		{c.LTPD, 0.10, fmt.Sprintf("10 %% accepted at %s (LTPD)", number(100*c.LTPD)+unit)},
	}
	var words []string
	for _, k := range known {
		words = append(words, k.words)
	}
	s := begin(title, fmt.Sprintf("Operating characteristic of a sample of %d from a lot of %d, accepted with %d or fewer nonconforming; qualities in %s. %s.",
		plan.SampleSize, plan.LotSize, plan.Reject-1, quality, strings.Join(words, "; ")))
	y := s.perCents("probability of acceptance")
	x := axis{0, 160 * c.LTPD, left, right}
	if plan.AQL <= lot.PerCent {
		x.high = min(x.high, 100)
	}
	s.across(x, quality)
	s.curve(plan, x, y)
	lotted := s.lotDots(plan, x, y)
	for i, k := range known {
		s.printf(`<circle cx="%.1f" cy="%.1f" r="4.5" fill="%s" stroke="%s" stroke-width="1.5"/>`, x.at(100*k.at), y.at(k.accepted), paper, ink)
		s.text(right-4, top+24+17*float64(i), "end", k.words)
	}
	if lotted {
		s.text(right-4, top-8, "end", fmt.Sprintf("line: from a large supply; dots: a lot of %d", plan.LotSize))
	}
	return s.end()
}

// curve draws the process's curve.
func (s *picture) curve(plan lot.Plan, x, y axis) {
	const pieces = 160
	var path strings.Builder
	for i := range pieces + 1 {
		q := x.low + (x.high-x.low)*float64(i)/pieces // per cent
		fmt.Fprintf(&path, "%c%.1f %.1f", "ML"[min(i, 1)], x.at(q), y.at(plan.AcceptProcess(q/100)))
	}
	s.printf(`<path d="%s" fill="none" stroke="%s" stroke-width="1.8" stroke-linejoin="round"/>`, path.String(), ink)
}

// lotDots draws the exact probabilities for lots of the plan's size; of a large lot
// only as many as can be distinguished. It reports whether there are any.
func (s *picture) lotDots(plan lot.Plan, x, y axis) bool {
	if plan.AQL > lot.PerCent {
		return false
	}
	most := int(x.high / 100 * float64(plan.LotSize))
	for bad := 0; bad <= most; bad += 1 + most/50 {
		q := 100 * float64(bad) / float64(plan.LotSize)
		s.printf(`<circle cx="%.1f" cy="%.1f" r="2" fill="%s"/>`, x.at(q), y.at(plan.AcceptLot(bad)), ink)
	}
	return true
}

// number writes a quality with three digits that count.
func number(percent float64) string {
	digits := 2
	if percent > 0 {
		digits = max(0, 2-int(math.Floor(math.Log10(percent))))
	}
	text := fmt.Sprintf("%.*f", min(digits, 4), percent)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return text
}
