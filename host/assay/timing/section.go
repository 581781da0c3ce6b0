package timing

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"chipassay/host/adapter"
	"chipassay/host/quantity"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A bench times one section of a powered chip.
type bench struct {
	ctx     context.Context
	s       Socket
	t       part.Type
	x       *part.Timing
	r       *Section
	base    part.Pins // of the inputs that are high besides the section's own
	driven  part.Pins
	bias    adapter.Pull
	pins    []int   // inputs of the section
	typical float64 // s, by the formulas
	least   float64 // s, what a pulse is expected to be
	most    float64
	pause   float64 // s, for which a section is left alone before a trigger at least
	judged  bool
	endless bool      // a pulse did not end
	odd     []Time    // pulses that are too long or too short
	late    part.Pins // outputs whose pulse begins too late
}

// Begin begins a section, with its capacitor as it was measured; within is as a part of it, 0 where it was not.
func Begin(t part.Type, x *part.Timing, p Plan, farads, within float64) *Section {
	r := &Section{Name: x.Name, Output: x.Output, Complement: x.Complement, Undivided: x.Undivided, Inputs: x.Inputs(t.Variant), Positive: x.Positive, Negative: x.Negative,
		Farads: farads, Present: within > 0, Measured: within > 0 && within < asMarked, Tolerance: within, Ohms: p.Ohms, OhmsWithin: clipWithin, ByBias: x.Supplied != 0, Oscillates: x.Oscillates}
	if !r.Measured {
		r.Farads, r.Tolerance = p.Farads, asMarked
	}
	return r
}

// Test times a section of the powered chip.
func (r *Section) Test(ctx context.Context, s Socket, t part.Type, x *part.Timing) error {
	b := &bench{ctx: ctx, s: s, t: t, x: x, r: r, pins: r.Inputs}
	if err := b.prepare(); err != nil {
		return err
	}
	if x.Oscillates {
		return b.oscillator()
	}
	return b.monostable()
}

// prepare finds the levels of the pins that stay, and the limits.
func (b *bench) prepare() error {
	v, x := b.t.Variant, b.x
	up := part.Pins(0)
	for _, p := range v.Pins {
		switch {
		case p.Role == part.Input && x.Open.Has(p.Number), p.Role == part.External && p.Number != x.Negative:
			up = up.With(p.Number, true)
		case p.Role == part.Input && !b.clipped(p.Number):
			b.driven = b.driven.With(p.Number, true)
			high := p.Tied == part.TiedHigh
			if x.Held.Has(p.Number) {
				high = x.HeldHigh.Has(p.Number)
			}
			b.base = b.base.With(p.Number, high)
		}
	}
	if b.bias = adapter.Off; x.Supplied != 0 {
		up = up.With(x.Supplied, true)
		for _, w := range x.Wires {
			up = up.With(w[0], true).With(w[1], true)
		}
		b.bias = adapter.PullUp(up)
	}
	k, err := b.s.Constants(b.ctx)
	if err != nil {
		return err
	}
	if b.r.ByBias {
		b.r.Ohms, b.r.OhmsWithin = k.BiasOhms/float64(1+len(x.Wires)), biasWithin
	}
	if err := b.limits(k); err != nil {
		return err
	}
	why := x.BelowGround(b.t.Family)
	if b.judged = why == "" || x.Oscillates; b.judged {
		b.r.Least, b.r.Most = b.least, b.most
	} else {
		b.r.Limits = nil
		b.r.NotJudged = append(b.r.NotJudged, "the width of the pulse: "+why)
		b.least = 0
	}
	return nil
}

// limits are those by the formulas, with the tolerances of capacitor and resistor: of each maker, and of all.
func (b *bench) limits(k adapter.Constants) error {
	tolerance := b.r.Tolerance + b.r.OhmsWithin
	if b.r.Measured && b.r.ByBias {
		tolerance = b.r.Tolerance // the product of both was measured
	}
	ratio := 0.0
	if b.r.ByBias {
		supply, err := b.s.SupplyVolts(b.ctx)
		if err != nil {
			return err
		}
		if supply > 0 && !math.IsNaN(supply) {
			ratio = k.SupplyVolts / supply
		}
	}
	for i, f := range b.x.In(b.t.Family) {
		least, most := f.Range(b.r.Ohms, b.r.Farads)
		least, most = least*(1-tolerance), most*(1+tolerance)
		if ratio > 0 {
			low, high := shortened(ratio, f)
			least, most = least*low, most*high
		}
		b.r.Limits = append(b.r.Limits, Limit{Least: least, Most: most, Source: f.Source,
			Apart: f.Most * (1 + f.Within) / f.Least / (1 - f.Within) * (1 + 2*b.r.OhmsWithin)})
		if i == 0 {
			b.least, b.most, b.typical = least, most, f.Typical(b.r.Ohms, b.r.Farads)
		}
		b.least, b.most = min(b.least, least), max(b.most, most)
	}
	return nil
}

// fit notes by which makers' formulas a time may be, and reports whether it is outside of all that any gives.
func (b *bench) fit(t Time) (outside bool) {
	b.r.Fits = nil
	for i, l := range b.r.Limits {
		if l.holds(t) {
			b.r.Fits = append(b.r.Fits, i)
		}
	}
	return t.Seconds+t.Uncertainty < b.least || t.Seconds-t.Uncertainty > b.most
}

// betweenMakers notes a time that lies between what the makers' formulas give.
func (b *bench) betweenMakers(t Time, what string) {
	if b.judged && len(b.r.Fits) == 0 {
		b.r.NotJudged = append(b.r.NotJudged, fmt.Sprintf("%s: %s lies between what the makers' formulas give (%s)", what, quantity.Seconds(t.Seconds), b.r.LimitWords()))
	}
}

// clipped reports whether a pin is one of those between which something is clipped, which are not driven.
func (b *bench) clipped(pin int) bool {
	on := []int{b.x.Positive, b.x.Negative, b.x.Resistor[0], b.x.Resistor[1]}
	for _, w := range b.x.Wires {
		on = append(on, w[:]...)
	}
	return slices.Contains(on, pin)
}

// shortened is by what a resistor to a rail above the chip's supply shortens a pulse, the ratio of both
// being given: with a start of the charging from 0 to 0.3 of the supply, wherever the chip has it.
func shortened(ratio float64, f part.Formula) (least, most float64) {
	least, most = math.Inf(1), 0
	for _, factor := range []float64{f.Least, f.Most} {
		for _, start := range []float64{0, 0.1, 0.3} {
			end := 1 - (1-start)*math.Exp(-factor)
			by := math.Log((ratio-start)/(ratio-end)) / factor
			least, most = min(least, by), max(most, by)
		}
	}
	return least, most
}

// levels are the levels of all inputs where the section's own are so.
func (b *bench) levels(combination int) part.Pins {
	high := b.base
	for i, pin := range b.pins {
		high = high.With(pin, combination>>i&1 != 0)
	}
	return high
}

func (b *bench) act(at time.Duration, high part.Pins) adapter.WatchAction {
	return adapter.WatchAction{At: at, Step: stimulus.Step{Driven: b.driven, Drive: high & b.driven}, Bias: b.bias}
}

func (b *bench) watch(pin int, until time.Duration, edges int, actions ...adapter.WatchAction) (adapter.Watched, error) {
	w, err := b.s.Watch(b.ctx, adapter.Watch{Pin: pin, Until: until, Edges: edges, Actions: actions})
	if err == nil && len(w.Acted) < len(actions) {
		w.Acted = append(w.Acted, make([]time.Duration, len(actions)-len(w.Acted))...)
	}
	return w, err
}

func (b *bench) name(pin int) string { return b.t.Variant.Pins[pin-1].Name }

func (b *bench) fails(pins part.Pins, format string, args ...any) {
	b.r.PinsWrong |= pins
	b.r.Wrong = append(b.r.Wrong, fmt.Sprintf(format, args...))
}

// describe names an edge with the levels of the section's other inputs: "rise of 1B with 1A=L /1CLR=H".
func (b *bench) describe(from, to part.Pins) string {
	words, edge := []string{}, ""
	for _, pin := range b.pins {
		level := "L"
		if to.Has(pin) {
			level = "H"
		}
		switch {
		case from.Has(pin) == to.Has(pin):
			words = append(words, b.name(pin)+"="+level)
		case to.Has(pin):
			edge = "rise of " + b.name(pin)
		default:
			edge = "fall of " + b.name(pin)
		}
	}
	if len(words) == 0 {
		return edge
	}
	return edge + " with " + strings.Join(words, " ")
}

// width is the time between two edges, with what their gaps leave open.
func width(from, to adapter.Edge) Time {
	most := (to.At - from.At + from.Gap).Seconds()
	least := max(0, (to.At - to.Gap - from.At).Seconds())
	return Time{(most + least) / 2, (most - least) / 2}
}

// sameInstant is how much before the time that an action reports an edge that follows from it may be seen.
const sameInstant = 2 * time.Microsecond

// after are the edges from an action on.
func after(w adapter.Watched, at time.Duration) (edges []adapter.Edge) {
	for _, e := range w.Edges {
		if e.At > at-sameInstant {
			edges = append(edges, e)
		}
	}
	return edges
}
