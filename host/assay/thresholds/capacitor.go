package thresholds

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// ErrCapacitor is the error of a capacitor that is not there, or not as marked.
var ErrCapacitor = errors.New("the capacitor is not as it should be")

// Capacitor measures the capacitor at a pin before power, F: the bias charges it to so little
// that no junction of the chip conducts. What counts is the difference of a short and a long charge.
func Capacitor(ctx context.Context, s Socket, pin, pins int, marked float64) (farads float64, err error) {
	c := charger{ctx: ctx, s: s, pin: pin, position: adapter.PositionOf(pin, pins)}
	if c.k, err = s.Constants(ctx); err != nil {
		return 0, err
	}
	c.discharge = settled(c.k.DriveOhms * marked)
	constant := c.k.BiasOhms * marked
	if farads, err = c.roughly(constant); err != nil || farads < marked/3 || farads > 3*marked {
		return farads, c.unlike(farads, marked, err)
	}
	var values []float64
	for i := range charges {
		part := 1 - 0.1*float64(i) // other lengths lie at other places between the converter's steps
		short, low, err := c.held(seconds(shortPart * part * constant))
		if err != nil {
			return 0, err
		}
		long, high, err := c.held(seconds(longPart * part * constant))
		if err != nil {
			return 0, err
		}
		if high-low >= leastCharge {
			values = append(values, (long-short)/(c.k.BiasOhms*math.Log((c.k.SupplyVolts-low)/(c.k.SupplyVolts-high))))
		}
	}
	if len(values) > 0 { // else it does not hold its charge
		slices.Sort(values)
		farads = values[len(values)/2]
	}
	return farads, c.unlike(farads, marked, nil)
}

// unlike is the error of a capacitor that is not as it is marked, where there is none yet.
func (c *charger) unlike(farads, marked float64, err error) error {
	if err == nil && (farads < marked/2 || farads > 2*marked) {
		err = fmt.Errorf("%w: pin %d has %.3g µF to ground, not %.3g µF: is it clipped to the right pin, and the other lead to ground?", ErrCapacitor, c.pin, 1e6*farads, 1e6*marked)
	}
	return err
}

// A charger charges the capacitor at a pin of a chip without supply.
type charger struct {
	ctx           context.Context
	s             Socket
	k             adapter.Constants
	pin, position int
	discharge     time.Duration
}

const (
	longPart, shortPart = 0.05, 0.012 // of the time constant: 0.25 V, and what is clearly less
	leastCharge         = 0.05        // V, ten steps of the converter
	charges             = 3           // of each
)

// roughly gives the value by one charge, which goes on until it is measured: so nothing floats where there is no capacitor.
func (c *charger) roughly(constant float64) (farads float64, err error) {
	charge := seconds(longPart * constant)
	w, err := c.watch(c.discharge+charge, adapter.WatchAction{At: c.discharge, Bias: c.bias()})
	if err != nil {
		return 0, err
	}
	elapsed := (c.discharge + charge - w.Acted[1] + usuallyAfter(c.s, c.pin)).Seconds()
	begin := c.k.SupplyVolts * c.k.DriveOhms / (c.k.DriveOhms + c.k.BiasOhms) // held against the bias
	rest := (c.k.SupplyVolts - w.Volts) / (c.k.SupplyVolts - begin)
	if w.Volts-begin < leastCharge || rest <= 0 {
		return math.Inf(1), fmt.Errorf("%w: pin %d stays at %.2f V: it is shorted to ground, or far larger than marked", ErrCapacitor, c.pin, w.Volts)
	}
	return -elapsed / (c.k.BiasOhms * math.Log(rest)), nil
}

// held charges it for a time, or somewhat longer, and holds that: gives how long it was, s, and the voltage.
func (c *charger) held(charge time.Duration) (took, volts float64, err error) {
	hold := c.discharge + charge
	w, err := c.watch(hold+100*time.Microsecond, adapter.WatchAction{At: c.discharge, Bias: c.bias()}, adapter.WatchAction{At: hold})
	if err != nil {
		return 0, 0, err
	}
	return (w.Acted[2] - w.Acted[1]).Seconds(), w.Volts, nil
}

func (c *charger) bias() adapter.Pull { return adapter.PullUp(part.PinSet(c.position)) }

// watch discharges it, does something, and measures it after a time.
func (c *charger) watch(until time.Duration, then ...adapter.WatchAction) (adapter.Watched, error) {
	other := 1 // a position that nothing drives, whose edges do not count
	if c.position == other {
		other = 2
	}
	empty := adapter.WatchAction{Step: stimulus.Step{Driven: part.PinSet(c.position)}, Bias: c.bias()} // the bias is there already, so that it drives at once
	w, err := c.s.ProbeWatch(c.ctx, adapter.Watch{Pin: other, Measure: c.position, Until: until, Actions: append([]adapter.WatchAction{empty}, then...)})
	if err == nil && len(w.Acted) != 1+len(then) {
		err = fmt.Errorf("%w: the adapter did not release pin %d", ErrCapacitor, c.pin)
	}
	return w, err
}

// seconds is a time in whole µs.
func seconds(s float64) time.Duration {
	return time.Duration(s * float64(time.Second)).Round(time.Microsecond)
}

// settled is ten time constants, s, in whole µs.
func settled(constant float64) time.Duration { return seconds(10*constant) + time.Microsecond }

// usuallyAfter is about how long after the end of a watch the voltage is sampled, which hangs on the adapter's program: by a
// near converter 10 µs (firmware/README.md, Edges), and 35 with an older program; by a far one in the middle of its conversion.
func usuallyAfter(s Socket, pin int) time.Duration {
	return max(10*time.Microsecond, s.ConversionTime(pin)/2-3*time.Microsecond)
}
