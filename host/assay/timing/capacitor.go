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

// Measurement of the capacitor before power.
const (
	targetVolts   = 0.30 // V, to which it is charged
	junctionVolts = 0.36 // V, below which no junction of an unpowered chip conducts
	drivenOhms    = 200  // discharges it, from both ends
	lowVolts      = 0.2  // V: below, it is charged longer

	// leastCharge is the shortest time between two actions, s. Even in one action the bias pulls alone for half a
	// µs from the release to its own end, an eighth more or less by the position (protocol/SPEC.md, WATCH):
	// what a small capacitor is charged by.
	leastCharge              = 5e-6
	pulledAlone, aloneWithin = 8. / 16e6, 2. / 16e6 // s
	clockWithin              = 1. / 16e6            // s, of the difference of two charges

	// countVolts is half a step of the converter of ten bits. bendVolts is what a difference of two
	// voltages a quarter of a volt apart may be off besides: half a step, too (ATmega2560, integral non-linearity, from memory).
	countVolts, bendVolts = 0.0025, 0.0025
	pairs                 = 3    // of a short and a long charge
	leastSpan             = 0.13 // V, between them
)

// MeasureCapacitor discharges the capacitor of a section by the drive, charges it for a time by the bias of its
// positive end, and gives its value with the bias resistance as it is known, with the uncertainty as a part of
// it, the resistance's own left out; 0 where the adapter's clock is not good enough. A *ClipError says that there is none, or another.
func MeasureCapacitor(ctx context.Context, s Socket, v *part.Variant, x *part.Timing, named float64) (farads, within float64, err error) {
	b, err := newCharger(ctx, s, v, x, named)
	if err != nil || !b.exact {
		return 0, 0, err
	}
	if named < leastPaired*float64(1+2*len(x.Wires)) { // a wire puts two biases in parallel, which begin at twice the voltage
		farads, within, err = b.small()
	} else {
		farads, within, err = b.paired()
	}
	also := ""
	for _, w := range x.Wires {
		also = fmt.Sprintf(", and clip the wire between %v and %v", &v.Pins[w[0]-1], &v.Pins[w[1]-1])
	}
	if err == nil && (farads < 0.5*named-within*farads || farads > 1.7*named+within*farads) {
		return 0, 0, &ClipError{fmt.Sprintf("the capacitor between %v and %v is %s, not %s: say --capacitor as it is marked%s",
			&v.Pins[x.Negative-1], &v.Pins[x.Positive-1], quantity.Farads(farads), quantity.Farads(named), also)}
	}
	return farads, within, err
}

// leastPaired, F, is the least capacitor that is charged twice, by one bias: a smaller one is past the junctions' voltage in
// the shortest time between two actions.
const leastPaired = 9.9e-9

// A charger charges the capacitor of a section.
type charger struct {
	ctx                 context.Context
	s                   Socket
	positive            int // position
	empty, charge, hold adapter.WatchAction
	named, ohms, rail   float64
	from                float64 // V, at which it is discharged
	exact               bool    // all that an action changes is within a µs of its time
	missing, shorted    error
}

func newCharger(ctx context.Context, s Socket, v *part.Variant, x *part.Timing, named float64) (*charger, error) {
	k, err := s.Constants(ctx)
	if err != nil {
		return nil, err
	}
	n := len(v.Pins)
	positive, negative := adapter.PositionOf(x.Positive, n), adapter.PositionOf(x.Negative, n)
	b := &charger{ctx: ctx, s: s, positive: positive, named: named, rail: k.SupplyVolts}
	b.ohms = k.BiasOhms/float64(1+len(x.Wires)) + k.DriveOhms // of the negative end
	b.missing = &ClipError{fmt.Sprintf("there is no capacitor of %s between %v and %v: clip it there, the supply being off", quantity.Farads(named),
		&v.Pins[x.Negative-1], &v.Pins[x.Positive-1])}
	b.shorted = &ClipError{fmt.Sprintf("the capacitor between %v and %v is far more than %s, or shorted", &v.Pins[x.Negative-1], &v.Pins[x.Positive-1], quantity.Farads(named))}
	up := part.PinSet(positive)
	for _, w := range x.Wires {
		up = up.With(adapter.PositionOf(w[0], n), true).With(adapter.PositionOf(w[1], n), true)
	}
	if x.Supplied != 0 {
		up = up.With(adapter.PositionOf(x.Supplied, n), true)
	}
	b.charge = adapter.WatchAction{Bias: adapter.PullUp(up)}
	b.charge.Driven = part.PinSet(negative)
	b.empty = b.charge
	b.empty.Driven |= part.PinSet(positive)
	b.hold.Driven = part.PinSet(negative)
	// driven low against its bias the positive end stands at some 70 mV: from there it is charged
	full := adapter.MeasureStep{Step: b.empty.Step, Bias: b.empty.Bias, Settle: 50 * time.Millisecond, Pins: part.PinSet(positive), Averaging: 4}
	measured, err := s.ProbeMeasure(ctx, []adapter.MeasureStep{full})
	if err != nil {
		return nil, err
	}
	b.from = measured[0].Volts[positive]
	if k, err = s.Constants(ctx); err != nil { // what is measured is by the reference from now on, and the rail too
		return nil, err
	}
	b.rail = k.SupplyVolts
	w, err := b.watch(0, 0)
	b.exact = err == nil && w.Within > 0 && w.Within <= time.Microsecond
	return b, err
}

// watch empties the capacitor, charges it for a time, holds it for some more and measures it.
func (b *charger) watch(charging, holding time.Duration) (adapter.Watched, error) {
	discharge := max(300*time.Microsecond, dur(10*drivenOhms*b.named*3))
	b.empty.At, b.charge.At, b.hold.At = 0, discharge, discharge+charging
	actions := []adapter.WatchAction{b.empty, b.charge, b.hold}
	if charging == 0 {
		actions = []adapter.WatchAction{b.empty, b.hold}
	}
	w, err := b.s.ProbeWatch(b.ctx, adapter.Watch{Pin: b.positive, Until: b.hold.At + 100*time.Microsecond + holding, Measure: b.positive, Averaging: 2,
		Actions: actions})
	if err == nil && (len(w.Acted) < len(actions) || math.IsNaN(w.Volts)) {
		err = &ClipError{"the capacitor could not be measured: its pin reads otherwise from one moment to the next"}
	}
	return w, err
}

// charged charges the capacitor for so many seconds, or somewhat longer, and gives how long that was and its voltage then.
func (b *charger) charged(seconds float64) (took, volts float64, err error) {
	return b.chargedHolding(seconds, 0)
}

// chargedHolding does so, and holds the charge for a time before it is measured.
func (b *charger) chargedHolding(seconds float64, holding time.Duration) (took, volts float64, err error) {
	charging := time.Duration(0)
	if seconds >= leastCharge {
		charging = dur(seconds)
	}
	w, err := b.watch(charging, holding)
	if err != nil {
		return 0, 0, err
	}
	if took = pulledAlone; charging > 0 {
		took += (w.Acted[2] - w.Acted[1]).Seconds()
	}
	return took, w.Volts, nil
}

// farads is what is charged from one voltage to another in a time.
func (b *charger) farads(seconds, from, to float64) float64 {
	return seconds / b.ohms / math.Log((b.rail-from)/(b.rail-min(to, 0.9999*b.rail)))
}

// small measures a capacitor that is charged by half a µs, of 1 nF or more.
func (b *charger) small() (farads, within float64, err error) {
	took, volts, err := b.charged(0)
	switch {
	case err != nil:
		return 0, 0, err
	case volts > junctionVolts:
		return 0, 0, b.missing
	case volts < b.from+2*countVolts:
		return 10 * b.named, 0.1, nil // another, and much larger
	}
	within = math.Hypot(aloneWithin/took, math.Sqrt2*countVolts/(volts-b.from)) + 0.02
	return b.farads(took, b.from, volts), within, nil
}

// paired measures a larger one by the difference of charges.
func (b *charger) paired() (farads, within float64, err error) {
	expected, err := b.search()
	if err != nil {
		return 0, 0, err
	}
	// how long until the voltage is near the target
	full := max(leastCharge, -b.ohms*expected*math.Log((b.rail-targetVolts)/(b.rail-b.from)))
	// Of two charges the difference counts. Several lengths lie at other places between the converter's steps.
	var values, spans, times []float64
	for i := 0; len(values) < pairs; i++ {
		if i == 8*pairs {
			return 0, 0, b.missing
		}
		by := 0.94 - 0.05*float64(i%4)
		short, low, err := b.charged(full / 8 * by)
		if err != nil {
			return 0, 0, err
		}
		long, high, err := b.charged(max(leastCharge, full*by))
		if err != nil {
			return 0, 0, err
		}
		// an action that came late makes a charge shorter or longer than it was to be
		most := targetVolts + 0.02
		if full*by < 1.2*leastCharge {
			most = junctionVolts // the shortest charge there is
		}
		if high-low < leastSpan || high > most {
			continue
		}
		values = append(values, b.farads(long-short, low, high))
		spans, times = append(spans, high-low), append(times, long-short)
	}
	slices.Sort(values)
	farads = values[pairs/2]
	sag, err := b.sag(full, farads)
	if err != nil {
		return 0, 0, err
	}
	within = (countVolts+bendVolts+sag)/slices.Min(spans) + clockWithin/slices.Min(times) + 0.012 // the bias resistor's output, and what else was seen in runs on the MCU's program
	return farads, max(within, (values[pairs-1]-values[0])/2/farads), nil
}

// search finds about how large the capacitor is.
func (b *charger) search() (expected float64, err error) {
	expected = b.named
	low := false
	for range 8 {
		took, volts, err := b.charged(max(leastCharge, -b.ohms*expected*math.Log((b.rail-targetVolts)/(b.rail-b.from))))
		switch {
		case err != nil:
			return 0, err
		case volts > junctionVolts && (expected < b.named/8 || took < 1.5*leastCharge):
			return 0, b.missing
		case volts > junctionVolts:
			expected /= 2
		case volts < lowVolts && expected < 30*b.named:
			expected, low = 1.6*expected, true
		default:
			return b.farads(took, b.from, volts), nil
		}
	}
	if low {
		return 0, b.shorted
	}
	return 0, b.missing
}

// sag is by how much the voltage sinks or rises before it is measured, V: what leaks in a ms gives it. Of the two
// charges that are compared one may be longer, for an action may come late: each is taken back to where it began.
func (b *charger) sag(seconds, farads float64) (volts float64, err error) {
	const holding = time.Millisecond
	begun := func(holding time.Duration) (float64, error) {
		took, volts, err := b.chargedHolding(seconds, holding)
		return b.rail - (b.rail-volts)*math.Exp(took/b.ohms/farads), err
	}
	at, err := begun(0)
	if err != nil {
		return 0, err
	}
	later, err := begun(holding)
	if err != nil {
		return 0, err
	}
	// as long as until a measurement's middle, some 150 µs; what is less than a step of the converter is none
	return max(0, math.Abs(later-at)-4*countVolts) * 0.15, nil
}
