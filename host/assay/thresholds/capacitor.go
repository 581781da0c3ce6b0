package thresholds

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// ErrCapacitor is the error of a capacitor that is not there, or not as marked.
var ErrCapacitor = errors.New("the capacitor is not as it should be")

// Capacitor measures the capacitor at a pin before power, F: the bias charges it to so little
// that no junction of the chip conducts.
func Capacitor(ctx context.Context, s Socket, pin, pins int, marked float64) (farads float64, err error) {
	k, err := s.Constants(ctx)
	if err != nil {
		return 0, err
	}
	position := adapter.PositionOf(pin, pins)
	here := part.PinSet(position)
	discharge := settled(k.DriveOhms * marked)
	charge := time.Duration(chargedPart * k.BiasOhms * marked * float64(time.Second)).Round(time.Microsecond)
	other := 1 // a position that nothing drives, whose edges do not count
	if position == other {
		other = 2
	}
	w, err := s.ProbeWatch(ctx, adapter.Watch{
		Pin: other, Measure: position, Until: discharge + charge,
		Actions: []adapter.WatchAction{
			{Step: stimulus.Step{Driven: here}, Bias: adapter.PullUp(here)}, // the bias is there already, so that it drives at once
			{At: discharge, Bias: adapter.PullUp(here)},
		},
	})
	switch {
	case err != nil:
		return 0, err
	case len(w.Acted) != 2:
		return 0, fmt.Errorf("%w: the adapter did not release pin %d", ErrCapacitor, pin)
	}
	// The first conversion is some µs after the end.
	elapsed := (discharge + charge - w.Acted[1] + measuredAfter(s, pin)).Seconds()
	begin := k.SupplyVolts * k.DriveOhms / (k.DriveOhms + k.BiasOhms) // held against the bias
	rest := (k.SupplyVolts - w.Volts) / (k.SupplyVolts - begin)
	if w.Volts-begin < leastCharge || rest <= 0 {
		return math.Inf(1), fmt.Errorf("%w: pin %d stays at %.2f V: it is shorted to ground, or far larger than marked", ErrCapacitor, pin, w.Volts)
	}
	farads = -elapsed / (k.BiasOhms * math.Log(rest))
	if farads < marked/2 || farads > 2*marked {
		return farads, fmt.Errorf("%w: pin %d has %.3g µF to ground, not %.3g µF: is it clipped to the right pin, and the other lead to ground?", ErrCapacitor, pin, 1e6*farads, 1e6*marked)
	}
	return farads, nil
}

const (
	chargedPart = 0.06 // of the time constant: 0.3 V
	leastCharge = 0.05 // V, five steps of the converter
)

// settled is ten time constants, s, in whole µs.
func settled(constant float64) time.Duration {
	return time.Duration(10*constant*float64(time.Second)).Round(time.Microsecond) + time.Microsecond
}

// measuredAfter is how long after the end of a watch the voltage is sampled: a near converter 10 µs
// (firmware/README.md, Edges), a far one in the middle of its conversion.
func measuredAfter(s Socket, pin int) time.Duration {
	return max(10*time.Microsecond, s.ConversionTime(pin)/2-3*time.Microsecond)
}
