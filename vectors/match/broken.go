package match

import (
	"cmp"
	"math/bits"
	"slices"

	"chipassay/vectors/fault"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// A BrokenFit is how well a part with one fault explains a trace.
type BrokenFit struct {
	Candidate
	Faults     []fault.Fault // that explain it equally well
	Bits       float64
	Mismatches int
}

// mostBrokenMismatches is how many readings rule a faulty part out: there is more than one
// fault, or it is another part.
const mostBrokenMismatches = 6

// alike, in bits, is how far apart the prices of two faults may be that explain a trace equally well.
const alike = 1

// Inputs are what is known of a chip's pins before its function is.
type Inputs struct {
	Open     part.Pins // signal pins without contact, as is seen before power
	Unjudged part.Pins // signal pins whose contact could not be judged
	Bipolar  bool      // an open input acts as a high; an open MOS input may act as anything
}

// opened is the level that an open input acts as: a TTL input a high, another any.
func (in Inputs) opened() logic.Value {
	if in.Bipolar {
		return logic.One
	}
	return logic.X
}

// RankBroken gives the candidates with the trace's package and supply pins, each with the
// faults of single signal pins that explain most, best first. It leaves out candidates that
// no fault brings near.
func (t Trace) RankBroken(candidates []Candidate, inputs Inputs) (fits []BrokenFit) {
	prices := t.prices()
	for _, c := range candidates {
		if c.Circuit == nil || !t.Fits(c.Variant) {
			continue
		}
		var best *BrokenFit
		for some := range slices.Chunk(inputs.faults(c.Variant), lanes) {
			for _, f := range t.fitBroken(c, some, inputs.Bipolar, prices) {
				switch {
				case best == nil || f.Bits < best.Bits-alike:
					best = &f
				case f.Bits <= best.Bits+alike:
					best.Faults = append(best.Faults, f.Faults...)
				}
			}
		}
		if best != nil {
			fits = append(fits, *best)
		}
	}
	cheapest := func(a, b BrokenFit) int { return cmp.Compare(a.Bits, b.Bits) }
	slices.SortStableFunc(fits, cheapest)
	near := fits[:min(len(fits), mostPoweredUp)]
	for i := range near {
		t.powerUp(&near[i], inputs.Bipolar, prices)
	}
	slices.SortStableFunc(fits, cheapest)
	return fits
}

// Explains reports whether nothing that was seen, before power or after, contradicts a part
// with a fault of a pin.
func (t Trace) Explains(c Candidate, f fault.Fault, inputs Inputs) bool {
	if c.Circuit == nil || !t.Fits(c.Variant) || !slices.Contains(inputs.faults(c.Variant), f) {
		return false
	}
	prices := t.prices()
	fits := t.fitBroken(c, []fault.Fault{f}, inputs.Bipolar, prices)
	if len(fits) == 0 || fits[0].Mismatches > 0 {
		return false
	}
	_, explains, known := t.fromPowerUp(c, f, inputs.Bipolar, prices)
	return explains || !known
}

// mostPoweredUp is how many of the best fits are followed from states at power-up.
const mostPoweredUp = 12

// unsettled, in bits, is the price of a fault with which no state at power-up was found that
// explains the trace: the search may have missed it.
const unsettled = 2 * Mismatch

// powerUp drops the faults of a fit with which no state at power-up explains the trace. An
// unknown state excuses any level, and a definite one does not. Where none is left all are kept,
// at a price.
func (t Trace) powerUp(f *BrokenFit, bipolar bool, prices [][part.MaxPins + 1]float64) {
	if f.Mismatches > 0 {
		return
	}
	best := *f
	best.Faults = nil
	for _, one := range f.Faults {
		price, explains, known := t.fromPowerUp(f.Candidate, one, bipolar, prices)
		switch {
		case !known || price > f.Bits:
			price = f.Bits
		case !explains:
			continue
		}
		switch {
		case len(best.Faults) == 0 || price < best.Bits-alike:
			best.Bits, best.Faults = price, []fault.Fault{one}
		case price <= best.Bits+alike:
			best.Faults = append(best.Faults, one)
		}
	}
	if len(best.Faults) == 0 {
		f.Bits += unsettled
		return
	}
	*f = best
}

// faults are those of single signal pins of a part that contact before power does not exclude.
// Where one pin that the part connects has no contact, that is the one fault.
func (in Inputs) faults(v *part.Variant) (faults []fault.Fault) {
	var judged part.Pins // whose connection shows before power
	for _, p := range v.Pins {
		judged = judged.With(p.Number, p.Signal() && p.Untested == "" && !p.Diodeless && !in.Unjudged.Has(p.Number))
	}
	missing := in.Open & judged
	for _, f := range fault.PinFaults(v) {
		switch {
		case f.Kind == fault.Short, f.Kind == fault.Unpowered, missing.Len() > 1:
		case f.Kind == fault.Open && judged.Has(f.Pin) != missing.Has(f.Pin):
		case missing == 0 || f == fault.Fault{Kind: fault.Open, Pin: f.Pin} && missing.Has(f.Pin):
			faults = append(faults, f)
		}
	}
	return faults
}

// prices gives, for each step and pin, what the reading costs where it was not predicted.
func (t Trace) prices() [][part.MaxPins + 1]float64 {
	r := newReader(t)
	prices := make([][part.MaxPins + 1]float64, len(t.Steps))
	for i, s := range t.Steps {
		for pin := range r.signals.All() {
			before := r.bits
			r.unforeseen(pin, s)
			prices[i][pin] = r.bits - before
		}
	}
	return prices
}

// fitBroken simulates a part with up to 64 faults, one a lane.
func (t Trace) fitBroken(c Candidate, faults []fault.Fault, bipolar bool, prices [][part.MaxPins + 1]float64) (fits []BrokenFit) {
	g := unpowered(c.Circuit)
	g.inject(faults, bipolar)
	alive := ^uint64(0) >> (lanes - len(faults))
	price, wrong := make([]float64, len(faults)), make([]int, len(faults))
	for i, s := range t.Steps {
		g.take(s)
		for pin := range t.Signals().All() {
			allowed, known := g.judge(pin, s)
			for rest := alive &^ allowed; rest != 0; rest &= rest - 1 {
				lane := bits.TrailingZeros64(rest)
				price[lane] += Mismatch
				if wrong[lane]++; wrong[lane] > mostBrokenMismatches {
					alive &^= 1 << lane
				}
			}
			if prices[i][pin] == 0 {
				continue
			}
			for rest := alive & allowed &^ known; rest != 0; rest &= rest - 1 {
				price[bits.TrailingZeros64(rest)] += prices[i][pin]
			}
		}
		if alive == 0 {
			return nil
		}
	}
	for lane, f := range faults {
		if alive>>lane&1 != 0 {
			fits = append(fits, BrokenFit{Candidate: c, Faults: []fault.Fault{f}, Bits: price[lane], Mismatches: wrong[lane]})
		}
	}
	return fits
}

// A shape is what faults make of an output's level, lane by lane.
type shape struct{ low, high, open, noUp, noDown uint64 }

// inject gives each lane its fault: inputs stick inside the chip, outputs change their shape.
func (g *gates) inject(faults []fault.Fault, bipolar bool) {
	for lane, f := range faults {
		mask := uint64(1) << lane
		if node, ok := g.c.Inputs[f.Pin]; ok {
			switch f.Kind {
			case fault.StuckLow:
				g.m.Stick(node, logic.Zero, mask)
			case fault.StuckHigh:
				g.m.Stick(node, logic.One, mask)
			case fault.Open:
				g.m.Stick(node, Inputs{Bipolar: bipolar}.opened(), mask)
			}
		}
		s := &g.shapes[f.Pin]
		switch f.Kind {
		case fault.StuckLow:
			s.low |= mask
		case fault.StuckHigh:
			s.high |= mask
		case fault.Open:
			s.open |= mask
		case fault.NoPullUp:
			s.noUp |= mask
		case fault.NoPullDown:
			s.noDown |= mask
		}
	}
}

func (s shape) on(w logic.Word) logic.Word {
	w.Hi &^= s.noUp &^ w.Lo
	w.Lo &^= s.noDown &^ w.Hi
	w.Hi, w.Lo = w.Hi|s.high, w.Lo&^s.high
	w.Hi, w.Lo = w.Hi&^s.low, w.Lo|s.low
	return logic.Word{Hi: w.Hi &^ s.open, Lo: w.Lo &^ s.open}
}

// judge gives the lanes that a pin's reading does not contradict, and those that predict it.
func (g *gates) judge(pin int, s Step) (allowed, known uint64) {
	p := g.c.Variant.Pins[pin-1]
	if predicted(p, func() prediction { return prediction{} }).anything {
		return allLanes, 0
	}
	// a stuck input may hold its pin, or stick behind it while the pin follows
	sh := g.shapes[pin]
	w := logic.Word{Hi: sh.low | sh.high, Lo: sh.low | sh.high}
	if p.Observable() {
		w = g.out(pin)
	}
	return g.allowing(w, pin, s, p) | g.untold, ^(w.Hi & w.Lo) &^ g.untold
}
