package levels

import (
	"context"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// heavyMA, mA, is what one standard TTL input sends out when it is low, at worst. An
// input of more is looked at before it is relied on.
const heavyMA = 1.6

// heavy are the inputs that may lift the pin that drives them low.
func heavy(t part.Type) (pins part.Pins) {
	if !t.Family.Technology.Bipolar() {
		return 0
	}
	for _, p := range t.Variant.Pins {
		pins = pins.With(p.Number, p.Drivable() && p.Tied != part.TiedHigh && t.Family.IIL*p.LoadIn(t.Family) > heavyMA)
	}
	return pins
}

// HoldLows measures how low the adapter drives heavy inputs, and helps it with their
// load resistors where that is needed and the outputs bear it; held says that it does.
// Over are the inputs that stay over VIL, measured: the worst case counts no more.
func HoldLows(ctx context.Context, meter Meter, t part.Type, steps []stimulus.Step) (over []Margin, held bool, err error) {
	pins := heavy(t)
	if pins == 0 {
		return nil, false, nil
	}
	over, err = lows(ctx, meter, t, steps, pins, false)
	if outputs := holdable(t); err == nil && over != nil && meter.Loads() && outputs != 0 {
		held = true
		over, err = lows(ctx, meter, t, steps, pins, true)
		meter.HoldLoad(adapter.PullUp(outputs))
	}
	return over, held, err
}

// lows measures inputs that are driven low, in steps in which few others share their
// current, with their load resistors low too or without. It gives those over VIL.
func lows(ctx context.Context, meter Meter, t part.Type, steps []stimulus.Step, pins part.Pins, loaded bool) (high []Margin, err error) {
	m, err := walkOf(ctx, meter, t, steps)
	if err != nil {
		return nil, err
	}
	at := map[int]station{}
	for pin := range pins.All() {
		step, ok := m.lowest(pin)
		if !ok {
			continue
		}
		s := station{step: step}
		if loaded {
			s.load = adapter.Low
		}
		at[pin] = s
		m.ask(s, &t.Variant.Pins[pin-1])
	}
	if err := m.pass(); err != nil {
		return nil, err
	}
	for pin := range pins.All() {
		s, ok := at[pin]
		if !ok {
			continue
		}
		if v := m.volts(s, &t.Variant.Pins[pin-1]) - m.lift(s); v > t.Family.VIL {
			high = append(high, Margin{Pin: pin, Volts: v, VIL: t.Family.VIL, typical: v})
		}
	}
	return high, nil
}

// lowest is the step that drives a pin low with the fewest other inputs low.
func (m *walk) lowest(pin int) (step int, ok bool) {
	fewest := 0
	for i, st := range m.steps {
		if lows := m.lows(pin, st); st.Driven.Has(pin) && !st.Drive.Has(pin) && (!ok || lows < fewest) {
			step, fewest, ok = i, lows, true
		}
	}
	return step, ok
}

// holdable are the outputs of a part that bear their load resistors high while those
// of all inputs are low, for all load resistors work together: totem-pole outputs that
// sink 5 mA. 0 where some output does not, or has to be seen released.
func holdable(t part.Type) (outputs part.Pins) {
	for _, p := range t.Variant.Pins {
		if !p.Observable() {
			continue
		}
		if p.Role != part.Output || p.Stage != part.TotemPole || t.Family.Output[p.Drive].IOL < railVolts/loadOhms*1000 {
			return 0
		}
		outputs = outputs.With(p.Number, true)
	}
	return outputs
}
