package match

import (
	"cmp"
	"slices"

	"chipassay/vectors/part"
)

// A NearFit is a part that explains a trace but for what some pins do.
type NearFit struct {
	Candidate
	But  part.Pins // that contradict the part
	Bits float64   // the price of all readings; those of But are not predicted
}

// exception, in bits, is the price of each pin that contradicts a part: it is one of some 16, and
// something is wrong with it, as with one chip in twenty (common practice).
const exception = 10

// RankNearly gives the parts of logic that explain the trace but for some pins, best first: half
// of a part's outputs are right, or more. An input without contact is one of these pins.
func (t Trace) RankNearly(candidates []Candidate, inputs Inputs) (fits []NearFit) {
	unforeseen := [part.MaxPins + 1]float64{}
	for _, step := range t.prices() {
		for pin, bits := range step {
			unforeseen[pin] += bits
		}
	}
	for _, c := range candidates {
		if c.Circuit == nil || !t.Fits(c.Variant) {
			continue
		}
		f := NearFit{Candidate: c}
		price := t.byPin(c, inputs, &f.But)
		outputs, wrong := 0, 0
		for pin := range t.Signals().All() {
			if f.But.Has(pin) {
				price[pin] = unforeseen[pin] + exception
			}
			f.Bits += price[pin]
			if c.Variant.Pins[pin-1].Observable() {
				outputs++
				if f.But.Has(pin) {
					wrong++
				}
			}
		}
		if 2*wrong <= outputs {
			fits = append(fits, f)
		}
	}
	slices.SortStableFunc(fits, func(a, b NearFit) int { return cmp.Compare(a.Bits, b.Bits) })
	return fits
}

// byPin simulates a candidate from an unknown state. It gives the price of each pin's readings,
// and collects the pins of which one contradicts the part.
func (t Trace) byPin(c Candidate, inputs Inputs, but *part.Pins) (price [part.MaxPins + 1]float64) {
	r, g := newReader(t), unpowered(c.Circuit)
	for pin := range inputs.Open.All() {
		if node, ok := c.Circuit.Inputs[pin]; ok {
			g.m.Stick(node, inputs.opened(), allLanes)
			*but = but.With(pin, true)
		}
	}
	for _, s := range t.Steps {
		g.take(s)
		for pin := range r.signals.All() {
			before := r.bits
			if r.judge(pin, s, g.predict(pin)) == wrong {
				*but = but.With(pin, true)
			}
			price[pin] += r.bits - before
			r.note(pin, s)
		}
	}
	return price
}
