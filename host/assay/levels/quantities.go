package levels

import (
	"fmt"
	"math"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
)

// outputLow measures VOL against the supply.
func (m *walk) outputLow(pin *part.Pin, step int) {
	o := m.outputs(pin)
	m.output(pin, step, adapter.High, railVolts-o.VOL, o.IOL, m.Low)
}

// output measures an output against a level of the rails, under the load that is best for
// its rated current, mA, across some volts, and under a second one.
func (m *walk) output(pin *part.Pin, step int, rails adapter.Pull, volts, ratedMA float64, reading func(*part.Pin, float64, float64, float64) Reading) {
	at := func(l loading) func() Reading {
		bias, load := l.rails(rails)
		s := station{step: step, bias: bias, load: load}
		m.ask(s, pin)
		return func() Reading { return reading(pin, m.volts(s, pin), m.lift(s), l.through(m.K)) }
	}
	best := m.loadFor(volts, ratedMA)
	first := at(best)
	second := first
	if l, ok := m.secondLoad(best, volts, ratedMA); ok {
		second = at(l)
	}
	m.answer(func() { m.Keep(pin, first().slope(second())) })
}

// outputHigh measures VOH against ground.
func (m *walk) outputHigh(pin *part.Pin, step int) {
	o := m.outputs(pin)
	m.output(pin, step, adapter.Low, o.VOH, o.IOH, m.High)
}

// released measures what a released output passes, either way, through the bias resistor.
func (m *walk) released(pin *part.Pin, step int) {
	up, down := station{step: step, bias: adapter.High}, station{step: step, bias: adapter.Low}
	m.ask(up, pin)
	m.ask(down, pin)
	limit := OffLimit(m.Type.Family, pin)
	m.answer(func() {
		m.follows(pin, m.volts(up, pin), m.volts(down, pin))
		worst := max(math.Abs(m.volts(up, pin)-m.K.SupplyVolts), math.Abs(m.volts(down, pin))) / m.K.BiasOhms * 1000
		m.Keep(pin, Reading{Quantity: IOZ, Value: worst, Limit: limit, Uncertainty: current(worst, m.K.BiasOhms, rails1Percent)})
	})
}

// What proves that an output is released (design.md): good ones follow the bias to 4.49 V
// of 5 and to 0.01 V. A converter's two counts are added.
const (
	FollowsUp   = 0.89 // of the rail
	FollowsDown = 0.03 // V
)

// follows says where a released output does not follow the bias both ways. One with
// an input beside it, or a resistor, does not have to.
func (m *walk) follows(pin *part.Pin, up, down float64) {
	if pin.Role == part.Bidirectional || pin.PullUp || math.IsNaN(up) || math.IsNaN(down) {
		return
	}
	if up < FollowsUp*m.K.SupplyVolts || down > FollowsDown {
		m.Held = append(m.Held, fmt.Sprintf("%v: released, it follows the bias only to %.2f and %.2f V", pin, up, down))
	}
}

// heldLow, V, is how high an input that is held low by the load resistor may stand: a
// low still. Limits of IIL stand at 0.4 or 0.5 V; at heldLow a base resistor from a
// 5 V supply passes 5 % less.
const (
	heldLow     = 0.7
	heldLowLess = 0.05
)

// low measures IIL: an input that its load resistor holds low is held by it, that
// of a MOS part by its bias, the others are driven low.
func (m *walk) low(pin *part.Pin, step int) {
	limit := m.Type.Family.IIL * pin.LoadIn(m.Type.Family)
	s, ohms, tolerance := station{step: step}, m.K.DriveOhms, driveTolerance
	switch {
	case !m.Type.Family.Technology.Bipolar():
		s, ohms, tolerance = station{step: step, release: part.PinSet(pin.Number), bias: adapter.Low}, m.K.BiasOhms, rails1Percent
	case m.Loads && limit/1000*loadOhms <= heldLow:
		s, ohms, tolerance = station{step: step, release: part.PinSet(pin.Number), load: adapter.Low}, m.K.LoadOhms, rails1Percent+heldLowLess
	}
	m.ask(s, pin)
	m.answer(func() { m.Keep(pin, m.inputLow(pin, m.volts(s, pin), ohms, tolerance)) })
}

// high measures IIH with the input held by the bias resistor, and the level
// that a bipolar input floats to. That may clock the chip, so it comes last.
func (m *walk) high(pin *part.Pin, step int) {
	if m.Type.Family.Technology == part.Darlington { // which takes more than the bias resistor gives
		s := station{step: step}
		m.ask(s, pin)
		m.answer(func() { m.Keep(pin, m.inputHigh(pin, m.volts(s, pin), m.K.DriveOhms, driveTolerance)) })
		return
	}
	release := part.PinSet(pin.Number)
	held, open := station{step: step, release: release, bias: adapter.High}, station{late: true, step: step, release: release}
	m.ask(held, pin)
	m.answer(func() { m.Keep(pin, m.InputHigh(pin, m.volts(held, pin))) })
	if !m.Type.Family.Technology.Bipolar() || pin.Receiver || pin.Trip != 0 {
		return
	}
	m.ask(open, pin)
	m.answer(func() {
		if v := m.volts(open, pin); !math.IsNaN(v) {
			m.Keep(pin, Reading{Quantity: Open, Value: v, Limit: math.NaN(), Uncertainty: ConverterVolts})
		}
	})
}

// supply measures the current at the first step, the rails off: nothing loads an
// output, and every input is driven.
func (m *walk) supply() {
	s := station{current: true}
	m.wanted[s] = part.PinSet(m.Type.Variant.VCC(), m.Type.Variant.GND())
	m.answer(func() {
		if v := m.volts(s, &m.Type.Variant.Pins[m.Type.Variant.VCC()-1]) - m.measured[s].Volts[m.Type.Variant.GND()]; !math.IsNaN(v) {
			m.SupplyVolts = v
		}
		m.Supply(m.measured[s].CurrentMA)
	})
}

// A loading is how the rails load an output: through one resistor or both.
type loading struct {
	ohms       float64
	bias, load bool
}

var loadings = []loading{{BiasOhms, true, false}, {loadOhms, false, true}, {bothOhms, true, true}}

// rails gives the levels of the rails, both the same.
func (l loading) rails(level adapter.Pull) (bias, load adapter.Pull) {
	if l.bias {
		bias = level
	}
	if l.load {
		load = level
	}
	return bias, load
}

// through gives the resistance of a loading, Ω.
func (l loading) through(k adapter.Constants) float64 {
	siemens := 0.0
	if l.bias {
		siemens += 1 / k.BiasOhms
	}
	if l.load {
		siemens += 1 / k.LoadOhms
	}
	return 1 / siemens
}

// loadFor chooses the loading with the current nearest below the rated one, mA,
// across some volts. The weakest is taken where all are above it.
func (m *walk) loadFor(volts, ratedMA float64) loading {
	best := loadings[0]
	for _, l := range loadings {
		if mA := volts / l.ohms * 1000; mA <= ratedMA*1.2 {
			best = l
		}
	}
	if best.load && !m.Loads {
		m.Unloaded = true
		return loadings[0]
	}
	return best
}

// secondLoad is another load for an output than the one it was measured under, where
// that is below the rated one, mA: by both its resistance shows. Over their rating only
// bipolar outputs are loaded.
func (m *walk) secondLoad(first loading, volts, ratedMA float64) (loading, bool) {
	switch {
	case !m.Loads || volts/first.ohms*1000 >= ratedMA:
		return loading{}, false
	case first.load:
		return loadings[0], true
	}
	return loadings[1], m.Type.Family.Technology.Bipolar()
}

// slope gives a reading its output's resistance by that under another load.
func (r Reading) slope(other Reading) Reading {
	mA := r.LoadMA - other.LoadMA
	if math.IsNaN(other.Value) || math.Abs(mA) < leastSlope {
		return r
	}
	drop := r.Value - other.Value // as the load grows
	if r.Quantity == VOH {
		drop = -drop
	}
	r.Ohms, r.OhmsUncertainty = (drop-r.Knee*math.Log(r.LoadMA/other.LoadMA))/mA*1000, 2*ConverterVolts/math.Abs(mA)*1000
	return r
}

// leastSlope is how far two loads are apart, mA, by which a resistance shows: its
// uncertainty is then 20 Ω.
const leastSlope = 1
