package identify

import (
	"iter"
	"math"
	"slices"

	"chipassay/host/assay/levels"
	"chipassay/vectors/match"
	"chipassay/vectors/part"
)

// heldOhms, Ω, is what holds a bipolar input low: the load beside the bias.
const heldOhms = 1000 * 10_000 / 11_000.

// inputs reports the technology of the inputs, and what one of them draws.
func (a *Answer) inputs() {
	if bipolar, known := a.Record.Bipolar(); known {
		a.Technology = map[bool]string{true: "bipolar", false: "MOS"}[bipolar]
	}
	var draws []float64
	for _, mA := range a.drawn() {
		draws = append(draws, mA)
	}
	slices.Sort(draws)
	if len(draws) > 0 {
		a.Draw = draws[len(draws)/4] // an input of more than one unit load draws more
	}
}

// known is what is known of the inputs before the function.
func (a *Answer) known() match.Inputs {
	return match.Inputs{Open: a.Open, Unjudged: a.unjudged, Bipolar: a.Technology == "bipolar"}
}

// drawn yields what the inputs draw that the load held low, mA, by pin.
func (a *Answer) drawn() iter.Seq2[int, float64] {
	return func(yield func(int, float64) bool) {
		for pin, volts := range a.Record.Loaded {
			if !math.IsNaN(volts) && !yield(pin, volts/heldOhms*1000) {
				return
			}
		}
	}
}

// draw is what the inputs of a part draw when they are low, mA for each of a family's unit
// loads; known is false where none was held low by the load.
func (a *Answer) draw(v *part.Variant, f *part.Family) (mA float64, known bool) {
	var draws []float64
	for pin, mA := range a.drawn() {
		p := v.Pins[pin-1]
		if load := p.LoadIn(f); p.Role == part.Input && !p.PullUp && load > 0 {
			draws = append(draws, mA/load)
		}
	}
	if len(draws) == 0 {
		return 0, false
	}
	slices.Sort(draws)
	return draws[len(draws)/2], true
}

// unlike is 1 where the inputs draw another current than those of a family do, else 0.
func (a *Answer) unlike(v *part.Variant, f *part.Family) int {
	if mA, known := a.draw(v, f); known && !levels.Draws(f, mA) {
		return 1
	}
	return 0
}
