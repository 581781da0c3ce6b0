package timing

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"chipassay/host/adapter"
	"chipassay/host/quantity"
	"chipassay/vectors/part"
)

// MeasureProduct gives R C of a capacitor and a resistor that are clipped on with one pin in common, s, with the uncertainty as a
// part of it, before power: the capacitor is charged by the bias of that pin to less than a junction conducts at, and drained through
// the resistor for a time. What the formula needs is that product, and neither is known better by itself. 0 where there is no such
// pin, or the adapter's clock is not good enough. A *ClipError says what is not there.
func MeasureProduct(ctx context.Context, s Socket, v *part.Variant, x *part.Timing, p Plan) (seconds, within float64, err error) {
	d, err := newDrain(ctx, s, v, x, p)
	if err != nil || d == nil {
		return 0, 0, err
	}
	var products []float64
	for range 3 {
		full, _, err := d.volts(0)
		if err != nil {
			return 0, 0, err
		}
		left, took, err := d.volts(0.7 * p.Ohms * p.Farads)
		switch {
		case err != nil:
			return 0, 0, err
		case took == 0: // an older firmware
			return 0, 0, nil
		case full > junctionVolts:
			return 0, 0, d.error("there is no capacitor of %s between %v and %v", quantity.Farads(p.Farads), d.other, d.shared)
		case full < 0.25*targetVolts:
			return 0, 0, d.error("the capacitor between %v and %v is far more than %s, or shorted", d.other, d.shared, quantity.Farads(p.Farads))
		case left > 0.9*full:
			return 0, 0, d.error("there is no resistor of %s between %v and %v", part.Ohms(p.Ohms), d.far, d.shared)
		}
		left = max(left, countVolts)
		open := clockWithin
		if d.charging == 0 { // the bias pulls on for half a µs while the resistor drains already
			took -= pulledAlone / 2
			open += pulledAlone / 2
		}
		products = append(products, took/math.Log(full/left))
		within = max(within, math.Hypot(countVolts/full, countVolts/left)/math.Log(full/left)+open/took+0.03)
	}
	slices.Sort(products)
	seconds = products[1]
	if named := p.Ohms * p.Farads; seconds < 0.5*named || seconds > 1.7*named {
		return 0, 0, d.error("the capacitor and the resistor at %v have R C of %s, and not %s as marked", d.shared, quantity.Seconds(seconds), quantity.Seconds(named))
	}
	return seconds, max(within, (products[2]-products[0])/2/seconds), nil
}

// drainVolts, V, is what it is charged by: driven low against one bias or two a position stands at 0.07 or 0.14 V already.
const drainVolts = 0.15

// A drain charges a capacitor and drains it through the resistor that is clipped to one of its pins.
type drain struct {
	ctx                  context.Context
	s                    Socket
	measured             int
	empty, charge, drain adapter.WatchAction
	hold                 adapter.WatchAction
	discharge, charging  time.Duration
	shared, other, far   *part.Pin
}

func newDrain(ctx context.Context, s Socket, v *part.Variant, x *part.Timing, p Plan) (*drain, error) {
	shared, other := x.Positive, x.Negative
	if !slices.Contains(x.Resistor[:], shared) {
		shared, other = other, shared
	}
	if x.Resistor[0] == 0 || !slices.Contains(x.Resistor[:], shared) || p.Farads < LeastMeasured {
		return nil, nil
	}
	far := x.Resistor[0] + x.Resistor[1] - shared
	at := func(pin int) int { return adapter.PositionOf(pin, len(v.Pins)) }
	if !s.Can().Measure.Has(at(shared)) {
		return nil, nil
	}
	k, err := s.Constants(ctx)
	if err != nil {
		return nil, err
	}
	d := &drain{ctx: ctx, s: s, measured: at(shared), shared: &v.Pins[shared-1], other: &v.Pins[other-1], far: &v.Pins[far-1],
		discharge: max(300*time.Microsecond, dur(10*drivenOhms*p.Farads*3))}
	up := part.PinSet(at(shared))
	for _, w := range x.Wires {
		up |= part.PinSet(at(w[0]), at(w[1]))
	}
	d.charge.Bias = adapter.PullUp(up)
	d.charge.Driven = part.PinSet(at(other))
	d.empty = d.charge
	d.empty.Driven |= part.PinSet(at(shared), at(far))
	d.hold.Driven = d.charge.Driven
	d.drain.Driven = d.charge.Driven.With(at(far), true)
	// less than the shortest time between two actions it is charged by the half µs for which the bias pulls alone
	if seconds := -k.BiasOhms / float64(1+len(x.Wires)) * p.Farads * math.Log(1-drainVolts/k.SupplyVolts); seconds >= leastCharge {
		d.charging = dur(seconds)
	}
	return d, nil
}

// volts is what the capacitor holds after it was drained for so many seconds, and for how long it was; 0 where the
// adapter does not know its own times well enough.
func (d *drain) volts(seconds float64) (volts, took float64, err error) {
	actions := []adapter.WatchAction{d.empty}
	if d.charging > 0 {
		d.charge.At = d.discharge
		actions = append(actions, d.charge)
	}
	at := d.discharge + d.charging
	if seconds > 0 {
		d.drain.At = at
		actions = append(actions, d.drain)
		at += max(5*time.Microsecond, dur(seconds))
	}
	d.hold.At = at
	actions = append(actions, d.hold)
	w, err := d.s.ProbeWatch(d.ctx, adapter.Watch{Pin: d.measured, Until: at + 100*time.Microsecond, Measure: d.measured, Averaging: 2, Actions: actions})
	if err != nil || w.Within == 0 || w.Within > time.Microsecond {
		return 0, 0, err
	}
	if len(w.Acted) < len(actions) || math.IsNaN(w.Volts) {
		return 0, 0, d.error("the capacitor at %v could not be measured: it reads otherwise from one moment to the next", d.shared)
	}
	n := len(w.Acted)
	return w.Volts, (w.Acted[n-1] - w.Acted[n-2]).Seconds(), nil
}

func (d *drain) error(format string, args ...any) error {
	return &ClipError{fmt.Sprintf(format, args...) + ": clip them as asked for, the supply being off"}
}
