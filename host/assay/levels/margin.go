package levels

import (
	"context"
	"fmt"

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
	if outputs := Holdable(t); err == nil && over != nil && meter.Can().Load && outputs != 0 {
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
			high = append(high, Margin{pin, t.Variant.Pins[pin-1].Name, v, t.Family.VIL, v})
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

// Holdable are the outputs of a part that bear their load resistors high while those
// of all inputs are low, for all load resistors work together: totem-pole outputs that
// sink 5 mA. 0 where some output does not, or has to be seen released.
func Holdable(t part.Type) (outputs part.Pins) {
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

// A Margin is an input that the adapter may not drive to a valid low, by the data
// sheet's worst case: IIL through its drive resistance.
type Margin struct {
	Pin     int     `json:"pin"`
	Name    string  `json:"name"`
	Volts   float64 `json:"volts"` // V, at most, when driven low
	VIL     float64 `json:"vil"`   // V
	typical float64 // V, where a typical chip's input stands
}

// typicalLow gives the volts at which a typical chip's input stands, driven low, by
// those of the worst case. Its base resistor, 4 kΩ in series 74 and 2.8 kΩ in 74H and
// 74S, lets 0.6 and 0.7 of the largest IIL through at 0.4 V, and less the higher the
// input stands: none at 4.3 V (data books' schematics, from memory).
func typicalLow(f *part.Family, worst float64) float64 {
	const source, rated = 4.3, 0.4 // V
	share := 0.6
	if f.Name == "74H" || f.Name == "74S" {
		share = 0.7
	}
	ratio := share * worst / (source - rated) // of the drive resistance to the base resistor
	return source * ratio / (1 + ratio)
}

// roomVIL, V, is what an input takes for low at room temperature; VIL is promised over all temperatures.
const roomVIL = 1.0

// groundLift, V, is what the supply current may lift the chip's ground by.
const groundLift = 0.05

// Hopeless reports whether even a typical chip's input cannot be driven low.
func (m Margin) Hopeless() bool { return m.typical+groundLift > roomVIL }

func (m Margin) String() string {
	return fmt.Sprintf("pin %d: driven low it may be as high as %.2f V, above the VIL of %.1f V", m.Pin, m.Volts, m.VIL)
}

// MarginWords says margins in one line, the worst one's volts.
func MarginWords(margins []Margin) string {
	var pins part.Pins
	worst := margins[0]
	for _, m := range margins {
		pins = pins.With(m.Pin, true)
		if m.Volts > worst.Volts {
			worst = m
		}
	}
	return fmt.Sprintf("driven low, %s may be as high as %.2f V at worst, above the VIL of %.1f V", pins.Words(), worst.Volts, worst.VIL)
}

// Margins gives the inputs of a type whose worst case the adapter cannot drive low.
func Margins(t part.Type) (short []Margin) {
	for _, p := range t.Variant.Pins {
		if v := t.Family.IIL * p.LoadIn(t.Family) / 1000 * driveOhms; p.Drivable() && v > t.Family.VIL {
			short = append(short, Margin{p.Number, p.Name, v, t.Family.VIL, typicalLow(t.Family, v)})
		}
	}
	return short
}
