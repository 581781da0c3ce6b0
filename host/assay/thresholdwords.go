package assay

import (
	"fmt"
	"slices"
	"strings"

	"chipassay/host/assay/levels"
	"chipassay/host/assay/thresholds"
	"chipassay/host/verdict"
	"chipassay/vectors/part"
)

// A thresholdFinding is what is wrong with inputs that have the same wrong with them.
type thresholdFinding struct {
	pins    part.Pins
	schmitt bool
	worst   []thresholds.Judgement // of each of their symbols that is wrong
}

// judgeThresholds makes a pass with a threshold outside its limits, or of another family's inputs, a
// PASS BUT. Inputs with the same of it are named together, by the worst.
func (r *Result) judgeThresholds() {
	if words := r.schmittWords(); words != "" {
		r.But = append(r.But, words)
		r.doubtful(words)
	}
	for _, f := range r.thresholdFindings() {
		near, words := true, make([]string, len(f.worst))
		for i, j := range f.worst {
			near, words[i] = near && j.Standing == levels.Near, j.Words
		}
		sentence := r.Type.Variant.Named(f.pins) + ": " + strings.Join(words, "; ")
		if near {
			r.doubtful(sentence + ", " + levels.Near.String())
			continue
		}
		if hint := r.thresholdHint(f); hint != "" {
			sentence += ": " + hint
		}
		if len(r.twins) > 0 && f.schmitt {
			sentence = anotherWords(r.twins, r.Type) + ": " + sentence
		}
		r.But = append(r.But, sentence)
		r.doubtful(sentence)
	}
	if len(r.But) > 0 && r.Verdict == Pass {
		r.Verdict = PassBut
	}
}

func (r *Result) thresholdFindings() (findings []*thresholdFinding) {
	for _, in := range r.Thresholds {
		wrong := wrongThresholds(in, r.Type.Family)
		if len(wrong) == 0 {
			continue
		}
		same := func(a, b thresholds.Judgement) bool {
			return a.Symbol == b.Symbol && a.Standing == b.Standing && a.Other == b.Other
		}
		at := slices.IndexFunc(findings, func(f *thresholdFinding) bool { return slices.EqualFunc(f.worst, wrong, same) })
		if at < 0 {
			findings, at = append(findings, &thresholdFinding{schmitt: in.Schmitt, worst: wrong}), len(findings)
		}
		f := findings[at]
		f.pins = f.pins.With(in.Pin, true)
		for i, j := range wrong {
			if j.Beyond() > f.worst[i].Beyond() {
				f.worst[i] = j
			}
		}
	}
	return findings
}

// wrongThresholds are the judgements of an input that are against it. A lost hysteresis says both thresholds.
func wrongThresholds(in thresholds.Input, f *part.Family) (wrong []thresholds.Judgement) {
	for _, j := range in.Judge(f) {
		if j.NoHysteresis() {
			return []thresholds.Judgement{j}
		}
		if j.Other || j.Standing == levels.Outside || j.Standing == levels.Near {
			wrong = append(wrong, j)
		}
	}
	return wrong
}

// thresholdHint says what inputs that switch where they should not probably are, likeliest first: where all
// that were measured do, another family than marked; where others do not, inputs that have drifted.
func (r *Result) thresholdHint(f *thresholdFinding) string {
	if f.worst[0].NoHysteresis() {
		return ""
	}
	var alike, others []thresholds.Input
	for _, in := range r.Thresholds {
		switch {
		case f.pins.Has(in.Pin):
			alike = append(alike, in)
		case in.Schmitt == f.schmitt:
			others = append(others, in)
		}
	}
	drifted := "an input that has drifted"
	if len(alike) > 1 {
		drifted = "inputs that have drifted"
	}
	if len(others) > 0 {
		return drifted + ", for others of the chip switch where they should"
	}
	families := r.familiesThatSwitch(alike)
	switch {
	case len(families) == 0:
		return drifted
	case len(alike) == 1:
		return fmt.Sprintf("another family than marked (%s), or %s", strings.Join(families, ", "), drifted)
	}
	return fmt.Sprintf("probably another family than marked (%s), less likely %s", strings.Join(families, ", "), drifted)
}

// mostFamilies is how many a hint names.
const mostFamilies = 3

// familiesThatSwitch are the types of the same part whose inputs switch where some do, and draw what they draw.
func (r *Result) familiesThatSwitch(inputs []thresholds.Input) (types []string) {
	families := slices.Clone(r.Type.Part().Families())
	if r.drawsNothing() { // as MOS inputs, and hardly as any other
		slices.SortStableFunc(families, func(a, b *part.Family) int { return bipolarLast(a) - bipolarLast(b) })
	}
	for _, f := range families {
		other := part.Type{Variant: r.Type.Part().In(f), Family: f}
		if f == r.Type.Family || !r.mayDraw(f) {
			continue
		}
		if !slices.ContainsFunc(inputs, func(in thresholds.Input) bool { return !switchesAs(in, other) }) {
			types = append(types, other.Name())
		}
	}
	return types[:min(len(types), mostFamilies)]
}

// switchesAs reports whether an input switches as those of another type.
func switchesAs(in thresholds.Input, other part.Type) bool {
	if !in.Schmitt {
		return thresholds.Switches(other.Family, in.Point().Volts, in.SupplyVolts)
	}
	if in.Limits, in.Limited = other.Schmitt(in.SupplyVolts); !in.Limited {
		return false
	}
	return !slices.ContainsFunc(in.Judge(other.Family), func(j thresholds.Judgement) bool { return j.Standing == levels.Outside })
}

func bipolarLast(f *part.Family) int {
	if f.Technology.Bipolar() {
		return 1
	}
	return 0
}

// drawsNothing reports whether no input draws a current when it is low that the adapter could measure.
func (r *Result) drawsNothing() bool {
	return r.Levels != nil && !slices.ContainsFunc(r.Levels.Readings, func(reading levels.Reading) bool {
		return reading.Quantity == levels.IIL && reading.Value > reading.Uncertainty
	})
}

// mayDraw reports whether a family's inputs may draw what those of the chip do when they are low. The
// current of a MOS input is measured through 10 kΩ, which shows whether there is any.
func (r *Result) mayDraw(f *part.Family) bool {
	switch {
	case r.Levels == nil:
		return true
	case r.drawsNothing():
		return levels.Draws(f, 0)
	case !r.Type.Family.Technology.Bipolar():
		return f.Technology.Bipolar()
	}
	return !slices.ContainsFunc(r.Levels.Readings, func(reading levels.Reading) bool {
		if reading.Quantity != levels.IIL {
			return false
		}
		load := r.Type.Variant.Pins[reading.Pin-1].LoadIn(f)
		return load >= 0.25 && !levels.Draws(f, reading.Value/load) // less is a PNP input
	})
}

// doubtful lowers the grade of a chip that passed, and says why.
func (r *Result) doubtful(why string) {
	if r.Verdict.Passed() && r.Grade != verdict.None && r.Grade.Rank() < verdict.Doubtful.Rank() {
		r.Grade = verdict.Doubtful
	}
	r.GradeReasons = append(r.GradeReasons, why)
}
