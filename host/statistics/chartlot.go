package statistics

import (
	"fmt"
	"html/template"
	"strconv"
	"strings"

	"chipassay/host/lot"
)

// lotChart draws the probability that a sampling plan accepts against the quality, per cent
// nonconforming, of what is handed in: the curve for a process, a dot for each number of
// nonconforming chips in a lot of the plan's own size, and rings at the qualities
// that the curve is known by. Of a large lot only as many dots are drawn as can be distinguished.
func lotChart(plan lot.Plan) template.HTML {
	c := plan.Characteristic()
	known := []struct {
		quality, accepted float64
		words             string
	}{
		{plan.AQL / 100, 1 - c.ProducersRisk, fmt.Sprintf("AQL %s: producer's risk %.1f %%", lot.FormatAQL(plan.AQL), 100*c.ProducersRisk)},
		{c.Quality95, 0.95, fmt.Sprintf("95 %% accepted at %s %%", number(100*c.Quality95))},
		{c.Quality50, 0.50, fmt.Sprintf("50 %% accepted at %s %%", number(100*c.Quality50))},
		{c.LTPD, 0.10, fmt.Sprintf("10 %% accepted at %s %% (LTPD)", number(100*c.LTPD))},
	}
	p := picture{Title: "Operating characteristic", X: axisOf(0, min(160*c.LTPD, 100), left, right, 8), Across: "per cent nonconforming",
		Y: shareAxis, Up: "probability of acceptance"}
	const pieces = 160
	var curve strings.Builder
	for i := range pieces + 1 {
		q := p.X.high * float64(i) / pieces
		fmt.Fprintf(&curve, "%c%.1f %.1f", "ML"[min(i, 1)], p.X.at(q), p.Y.at(100*plan.AcceptProcess(q/100)))
	}
	p.Strokes = []stroke{{curve.String(), 1.8}}
	most := int(p.X.high / 100 * float64(plan.LotSize))
	for bad := 0; bad <= most; bad += 1 + most/50 {
		p.Dots = append(p.Dots, dot{X: p.X.at(100 * float64(bad) / float64(plan.LotSize)), Y: p.Y.at(100 * plan.AcceptLot(bad)), Radius: 1.3})
	}
	var says []string
	for i, k := range known {
		says = append(says, k.words)
		p.Dots = append(p.Dots, dot{p.X.at(100 * k.quality), p.Y.at(100 * k.accepted), 4.5, true})
		p.Words = append(p.Words, words{X: right - 4, Y: top + 18 + 14*float64(i), Anchor: "end", Text: k.words})
	}
	p.Desc = fmt.Sprintf("A sample of %d from a lot of %d, accepted with %d or fewer nonconforming. %s.",
		plan.SampleSize, plan.LotSize, plan.Reject-1, strings.Join(says, "; "))
	p.Words = append(p.Words, words{X: right - 4, Y: top - 8, Anchor: "end", Text: fmt.Sprintf("line: from a large supply; dots: a lot of %d", plan.LotSize)})
	return p.draw()
}

// number writes a quality with three digits that count.
func number(percent float64) string {
	rounded, _ := strconv.ParseFloat(strconv.FormatFloat(percent, 'g', 3, 64), 64) // a number
	return strconv.FormatFloat(rounded, 'f', -1, 64)
}
