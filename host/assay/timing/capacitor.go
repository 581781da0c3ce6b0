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
	voltsWithin   = 0.005
	timeWithin    = 5e-6 // s, of the difference of two charges: interrupts of the microcontroller among them
	lowVolts      = 0.2  // V: below, it is charged longer
	pairs         = 11   // of a short and a long charge
)

// MeasureCapacitor discharges the capacitor of a section by the drive, charges it for a time by the bias of its
// positive end, and gives its value with the bias resistance as it is known, with the
// uncertainty as a part of it. A *ClipError says that there is none, or another.
func MeasureCapacitor(ctx context.Context, s Socket, v *part.Variant, x *part.Timing, named float64) (farads, within float64, err error) {
	k, err := s.Constants(ctx)
	if err != nil {
		return 0, 0, err
	}
	ohms := k.BiasOhms / float64(1+len(x.Wires))
	n := len(v.Pins)
	positive, negative := adapter.PositionOf(x.Positive, n), adapter.PositionOf(x.Negative, n)
	up := part.PinSet(positive)
	for _, w := range x.Wires {
		up = up.With(adapter.PositionOf(w[0], n), true).With(adapter.PositionOf(w[1], n), true)
	}
	if x.Supplied != 0 {
		up = up.With(adapter.PositionOf(x.Supplied, n), true)
	}
	charge := adapter.WatchAction{Bias: adapter.PullUp(up)}
	charge.Driven = part.PinSet(negative)
	empty := charge
	empty.Driven |= part.PinSet(positive)
	hold := adapter.WatchAction{}
	hold.Driven = part.PinSet(negative)
	// driven low against its bias the positive end stands at some 70 mV: from there it is charged
	full := adapter.MeasureStep{Step: empty.Step, Bias: empty.Bias, Settle: 50 * time.Millisecond, Pins: part.PinSet(positive), Averaging: 4}
	measured, err := s.ProbeMeasure(ctx, []adapter.MeasureStep{full})
	if err != nil {
		return 0, 0, err
	}
	from := measured[0].Volts[positive]
	ohms += k.DriveOhms // of the negative end
	expected := named
	missing := &ClipError{fmt.Sprintf("there is no capacitor of %s between %v and %v: clip it there, the supply being off", quantity.Farads(named),
		&v.Pins[x.Negative-1], &v.Pins[x.Positive-1])}
	charged := func(charging time.Duration) (took, volts float64, err error) {
		discharge := max(2*time.Millisecond, dur(10*drivenOhms*named*3))
		empty.At, charge.At, hold.At = 0, discharge, discharge+charging
		w, err := s.ProbeWatch(ctx, adapter.Watch{Pin: positive, Until: hold.At + 100*time.Microsecond, Measure: positive, Averaging: 4,
			Actions: []adapter.WatchAction{empty, charge, hold}})
		if err == nil && (len(w.Acted) < 3 || math.IsNaN(w.Volts)) {
			err = &ClipError{"the capacitor could not be measured: its pin reads otherwise from one moment to the next"}
		}
		if err != nil {
			return 0, 0, err
		}
		return (w.Acted[2] - w.Acted[1]).Seconds(), w.Volts, nil
	}
	// how long until the voltage is near the target
	charging := func(volts float64) float64 {
		return -ohms * expected * math.Log((k.SupplyVolts-volts)/(k.SupplyVolts-from))
	}
	found := false
	for range 5 {
		took, volts, err := charged(dur(charging(targetVolts)))
		switch {
		case err != nil:
			return 0, 0, err
		case volts > 0.95*k.SupplyVolts:
			return 0, 0, missing
		}
		farads = -took / ohms / math.Log(min((k.SupplyVolts-volts)/(k.SupplyVolts-from), 0.9999))
		switch {
		case volts > junctionVolts && expected < named/8:
			return 0, 0, missing
		case volts > junctionVolts:
			expected /= 2
			continue
		case volts < lowVolts && expected < 30*named:
			expected *= 1.6
			continue
		}
		found = true
		expected = max(expected, 0.8*farads) // an interrupt may have made the charge before this one look too long
		break
	}
	if !found {
		return 0, 0, missing
	}
	// The pulls go off some 10 µs before the action reports: of two charges the difference counts. Several
	// lengths lie at other places between the converter's steps. An interrupt between the pulls and the report
	// makes a pair wrong by some 10 µs either way, so that the median counts, and half of them may be of no use.
	var values, spans, times []float64
	for i := range pairs {
		by := 1 + 0.04*float64(i)/pairs
		short, low, err := charged(dur(charging(targetVolts) / 4 * by))
		if err != nil {
			return 0, 0, err
		}
		long, high, err := charged(dur(charging(targetVolts) * by))
		if err != nil {
			return 0, 0, err
		}
		if high-low < 0.02 || long <= short {
			continue
		}
		values = append(values, (long-short)/ohms/math.Log((k.SupplyVolts-low)/(k.SupplyVolts-high)))
		spans, times = append(spans, high-low), append(times, long-short)
	}
	if 2*len(values) < pairs {
		return 0, 0, missing
	}
	farads = median(values)
	within = math.Hypot(math.Sqrt2*voltsWithin/math.Sqrt(pairs)/median(spans), timeWithin/median(times)) + 0.002
	if farads < 0.5*named || farads > 1.7*named {
		return 0, 0, &ClipError{fmt.Sprintf("the capacitor between %v and %v is %s, not %s: say --capacitor as it is marked",
			&v.Pins[x.Negative-1], &v.Pins[x.Positive-1], quantity.Farads(farads), quantity.Farads(named))}
	}
	return farads, within, nil
}

// median is the middle one of some values, or the upper of the two in the middle.
func median(values []float64) float64 {
	sorted := slices.Sorted(slices.Values(values))
	return sorted[len(sorted)/2]
}
