package timing

import (
	"context"
	"fmt"
	"math"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
)

// Measurement of the capacitor before power.
const (
	targetVolts   = 0.30 // V, to which it is charged
	junctionVolts = 0.36 // V, below which no junction of an unpowered chip conducts
	drivenOhms    = 200  // discharges it, from both ends
	voltsWithin   = 0.005
	timeWithin    = 3e-6 // s: pulls go off some µs after the action
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
	missing := &ClipError{fmt.Sprintf("there is no capacitor of %s between %v and %v: clip it there, the supply being off", Farads(named),
		&v.Pins[x.Negative-1], &v.Pins[x.Positive-1])}
	for range 4 {
		discharge := max(2*time.Millisecond, dur(10*drivenOhms*named*3))
		charging := dur(-ohms * expected * math.Log((k.SupplyVolts-targetVolts)/(k.SupplyVolts-from)))
		empty.At, charge.At, hold.At = 0, discharge, discharge+charging
		w, err := s.ProbeWatch(ctx, adapter.Watch{Pin: positive, Until: hold.At + 100*time.Microsecond, Measure: positive, Averaging: 4,
			Actions: []adapter.WatchAction{empty, charge, hold}})
		if err != nil {
			return 0, 0, err
		}
		if len(w.Acted) < 3 || math.IsNaN(w.Volts) {
			return 0, 0, &ClipError{"the capacitor could not be measured: its pin reads otherwise from one moment to the next"}
		}
		took := (w.Acted[2] - w.Acted[1]).Seconds()
		ratio := w.Volts / k.SupplyVolts
		if ratio > 0.95 {
			return 0, 0, missing
		}
		farads = -took / ohms / math.Log(min((1-ratio)/(1-from/k.SupplyVolts), 0.9999))
		if w.Volts > junctionVolts && farads < 0.5*named {
			if expected > named/8 {
				expected /= 3
				continue
			}
			return 0, 0, missing
		}
		if w.Volts < 0.15 && expected < 30*named {
			expected *= 3
			continue
		}
		within = math.Hypot(voltsWithin/(w.Volts-from), timeWithin/took) + 0.002
		if farads < 0.5*named || farads > 1.7*named {
			return 0, 0, &ClipError{fmt.Sprintf("the capacitor between %v and %v is %s, not %s: say --capacitor as it is marked",
				&v.Pins[x.Negative-1], &v.Pins[x.Positive-1], Farads(farads), Farads(named))}
		}
		return farads, within, nil
	}
	return 0, 0, missing
}
