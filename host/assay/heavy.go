package assay

import (
	"context"
	"fmt"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
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

// holdLows measures how low the adapter drives heavy inputs, and helps it with their
// load resistors where that is needed and the outputs bear it. What then stays over VIL
// is a margin; that of the worst case, which was not measured, counts no more.
func (r *Result) holdLows(ctx context.Context, meter LevelMeter, p Plan) error {
	pins := heavy(r.Type)
	if pins == 0 {
		return nil
	}
	high, err := r.lows(ctx, meter, p, pins, false)
	if err != nil {
		return err
	}
	if held := holdable(r.Type); high != nil && meter.Loads() && held != 0 {
		if high, err = r.lows(ctx, meter, p, pins, true); err != nil {
			return err
		}
		r.held = true
		meter.HoldLoad(adapter.PullUp(held))
		r.NotTested = append(r.NotTested, "whether the outputs drive high by themselves in every vector: the load resistors that help to hold heavy inputs low pull them up; each is measured once")
	}
	r.Margins = high
	for _, m := range high {
		r.Cautions = append(r.Cautions[:len(r.Cautions):len(r.Cautions)], fmt.Sprintf("pin %d (%s): driven low it stands at %.2f V, over VIL of %.1f V; the chip may take it for no low",
			m.Pin, r.Type.Variant.Pins[m.Pin-1].Name, m.Volts, m.VIL))
	}
	return nil
}

// lows measures inputs that are driven low, in steps in which few others share their
// current, with their load resistors low too or without. It gives those over VIL.
func (r *Result) lows(ctx context.Context, meter LevelMeter, p Plan, pins part.Pins, loaded bool) (high []Margin, err error) {
	m := walkOf(ctx, meter, p)
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
		m.ask(s, &r.Type.Variant.Pins[pin-1])
	}
	if err := m.pass(); err != nil {
		return nil, err
	}
	for pin := range pins.All() {
		s, ok := at[pin]
		if !ok {
			continue
		}
		if v := m.volts(s, &r.Type.Variant.Pins[pin-1]) - m.lift(s); v > r.Type.Family.VIL {
			high = append(high, Margin{Pin: pin, Volts: v, VIL: r.Type.Family.VIL, typical: v})
		}
	}
	return high, nil
}

// lowest is the step that drives a pin low with the fewest other inputs low.
func (m *levelWalk) lowest(pin int) (step int, ok bool) {
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

// weakHigh gives an output that does not drive high by itself, of a chip whose outputs
// the load resistors pulled up in every vector; 0 where there is none.
func (r *Result) weakHigh() int {
	if !r.held || r.Levels == nil {
		return 0
	}
	for _, reading := range r.Levels.Readings {
		if reading.Quantity == VOH && reading.Value+reading.Uncertainty < r.Type.Family.VIH {
			return reading.Pin
		}
	}
	return 0
}
