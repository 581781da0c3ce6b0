package assay

import (
	"cmp"
	"fmt"
	"math"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
)

// outputs are the DC limits of a pin's output class.
func (m *levelWalk) outputs(pin *part.Pin) part.OutputLimits { return m.t.Family.Output[pin.Drive] }

// outputLow measures VOL against the supply.
func (m *levelWalk) outputLow(pin *part.Pin, step int) {
	o := m.outputs(pin)
	l := m.loadFor(railVolts-o.VOL, o.IOL)
	bias, load := l.rails(adapter.High)
	s := station{step: step, bias: bias, load: load}
	m.ask(s, pin)
	m.answer(func() {
		m.read(pin, m.vol(pin, m.volts(s, pin), m.lift(s), l.through(m.k)))
	})
}

// vol is the reading of an output that stands low at v volts, the chip's ground being
// lifted by some, under a resistance, Ω, to the supply.
func (m *levelWalk) vol(pin *part.Pin, v, lift, ohms float64) Reading {
	o := m.outputs(pin)
	load := (m.k.SupplyVolts - v) / ohms * 1000
	return Reading{Quantity: VOL, Value: v - lift, Limit: o.VOL * m.over(load, o.IOL), RatedMA: o.IOL,
		LoadMA: load, Uncertainty: converterVolts + rails1Percent*v}
}

// outputHigh measures VOH against ground.
func (m *levelWalk) outputHigh(pin *part.Pin, step int) {
	o := m.outputs(pin)
	l := m.loadFor(o.VOH, o.IOH)
	bias, load := l.rails(adapter.Low)
	s := station{step: step, bias: bias, load: load}
	m.ask(s, pin)
	m.answer(func() {
		m.read(pin, m.voh(pin, m.volts(s, pin), m.lift(s), l.through(m.k)))
	})
}

// voh is the reading of an output that stands high at v volts, the chip's ground being
// lifted by some, over a resistance, Ω, to ground.
func (m *levelWalk) voh(pin *part.Pin, v, lift, ohms float64) Reading {
	o := m.outputs(pin)
	load, limit, supply := v/ohms*1000, m.highLimit(o), cmp.Or(m.chipVolts, tableVolts)
	return Reading{Quantity: VOH, Value: v - lift, Limit: supply - (supply-limit)*m.over(load, o.IOH), RatedMA: o.IOH,
		LoadMA: load, Uncertainty: converterVolts + railDrift + rails1Percent*max(0, m.k.SupplyVolts-v)}
}

// highLimit is the VOH limit at the supply that the chip has, V: of a MOS output it
// follows the supply, which the table takes for 5 V.
func (m *levelWalk) highLimit(o part.OutputLimits) float64 {
	if t := m.t.Family.Technology; t.Bipolar() || t == part.NMOS || m.chipVolts == 0 {
		return o.VOH
	}
	return o.VOH + m.chipVolts - tableVolts
}

// over is how many times its rated current an output was loaded with, at least 1. A
// MOS output is a resistance to its supply, so its limit grows with it; what a
// bipolar one does over its rating no data sheet says.
func (m *levelWalk) over(load, rated float64) float64 {
	if t := m.t.Family.Technology; t.Bipolar() || t == part.NMOS {
		return 1
	}
	return max(1, load/rated)
}

// tableVolts, V, is the supply at which the tables of DC limits stand.
const tableVolts = 5.0

// released measures what a released output passes, either way, through the bias resistor.
func (m *levelWalk) released(pin *part.Pin, step int) {
	up, down := station{step: step, bias: adapter.High}, station{step: step, bias: adapter.Low}
	m.ask(up, pin)
	m.ask(down, pin)
	limit := offLimit(m.t.Family, pin)
	m.answer(func() {
		m.follows(pin, m.volts(up, pin), m.volts(down, pin))
		worst := max(math.Abs(m.volts(up, pin)-m.k.SupplyVolts), math.Abs(m.volts(down, pin))) / m.k.BiasOhms * 1000
		m.read(pin, Reading{Quantity: IOZ, Value: worst, Limit: limit, Uncertainty: current(worst, m.k.BiasOhms, rails1Percent)})
	})
}

// offLimit is what a released output may pass, mA, from memory of the data books: IOZ
// of the bipolar families with diode inputs and of the others, IOH of open collectors.
func offLimit(f *part.Family, pin *part.Pin) float64 {
	limit := 0.02
	switch {
	case pin.Stage == part.OpenCollector && f.Technology.Bipolar():
		limit = 0.25
	case f.Technology == part.TTL:
		limit = 0.04
	}
	if pin.Role == part.Bidirectional { // it has an input too, which draws when pulled low
		limit = max(limit, f.IIL*pin.LoadIn(f))
	}
	return limit
}

// What proves that an output is released (design.md): good ones follow the bias to 4.49 V
// of 5 and to 0.01 V. A converter's two counts are added.
const (
	followsUp   = 0.89 // of the rail
	followsDown = 0.03 // V
)

// follows says where a released output does not follow the bias both ways. One with
// an input beside it, or a resistor, does not have to.
func (m *levelWalk) follows(pin *part.Pin, up, down float64) {
	if pin.Role == part.Bidirectional || pin.PullUp || math.IsNaN(up) || math.IsNaN(down) {
		return
	}
	if up < followsUp*m.k.SupplyVolts || down > followsDown {
		m.found.Held = append(m.found.Held, fmt.Sprintf("pin %d (%s): released, it follows the bias to %.2f and %.2f V only", pin.Number, pin.Name, up, down))
	}
}

// railDrift, V, is how far the adapter's rail may be from where the reference last told:
// it is asked once a request, and outputs under load take some 30 mA more in one step
// than in another.
const railDrift = 0.02

// current is the uncertainty of a current, mA, that was measured across a resistor.
func current(mA, ohms, tolerance float64) float64 { return mA*tolerance + converterVolts/ohms*1000 }

// heldLow, V, is how high an input that is held low by the load resistor may stand: a
// low still. Limits of IIL stand at 0.4 or 0.5 V; at heldLow a base resistor from a
// 5 V supply passes 5 % less.
const (
	heldLow     = 0.7
	heldLowLess = 0.05
)

// inputLow measures IIL: an input that its load resistor holds low is held by it, that
// of a MOS part by its bias, the others are driven low.
func (m *levelWalk) inputLow(pin *part.Pin, step int) {
	limit := m.t.Family.IIL * pin.LoadIn(m.t.Family)
	s, ohms, tolerance := station{step: step}, m.k.DriveOhms, driveTolerance
	switch {
	case !m.t.Family.Technology.Bipolar():
		s, ohms, tolerance = station{step: step, release: part.PinSet(pin.Number), bias: adapter.Low}, m.k.BiasOhms, rails1Percent
	case m.loads && limit/1000*loadOhms <= heldLow:
		s, ohms, tolerance = station{step: step, release: part.PinSet(pin.Number), load: adapter.Low}, m.k.LoadOhms, rails1Percent+heldLowLess
	}
	if pin.PullUp {
		limit = math.NaN() // what its resistor passes, no data sheet says
	}
	m.ask(s, pin)
	m.answer(func() {
		i := m.volts(s, pin) / ohms * 1000
		m.read(pin, Reading{Quantity: IIL, Value: i, Limit: limit, Uncertainty: current(i, ohms, tolerance)})
	})
}

// inputHigh measures IIH with the input held by the bias resistor, and the level
// that a bipolar input floats to. That may clock the chip, so it comes last.
func (m *levelWalk) inputHigh(pin *part.Pin, step int) {
	release := part.PinSet(pin.Number)
	held, open := station{step: step, release: release, bias: adapter.High}, station{late: true, step: step, release: release}
	m.ask(held, pin)
	m.answer(func() { m.read(pin, m.iih(pin, m.volts(held, pin))) })
	if !m.t.Family.Technology.Bipolar() {
		return
	}
	m.ask(open, pin)
	m.answer(func() {
		if v := m.volts(open, pin); !math.IsNaN(v) {
			m.read(pin, Reading{Quantity: Open, Value: v, Limit: math.NaN(), Uncertainty: converterVolts})
		}
	})
}

// iih is the reading of an input that the bias resistor holds high.
func (m *levelWalk) iih(pin *part.Pin, v float64) Reading {
	i := (m.k.SupplyVolts - v) / m.k.BiasOhms * 1000
	return Reading{Quantity: IIH, Value: i, Limit: m.t.Family.IIH * pin.LoadIn(m.t.Family),
		Uncertainty: current(i, m.k.BiasOhms, rails1Percent) + railDrift/m.k.BiasOhms*1000}
}

// monitorMA, mA, is what the supply current may be off: half of the monitor's step of
// 0.1 mA, and what is not known of the switch's base current.
const monitorMA = 0.15

// icc is the reading of a supply current, mA, with its limit.
func icc(mA, limit float64) Reading {
	return Reading{Quantity: ICC, Value: mA, Limit: limit, Uncertainty: monitorMA + rails1Percent*mA}
}

// mostICC, mA, is the largest supply current of small parts: gates, buffers and
// inverters in packages of at most 16 pins. Data books' quad and hex gates, from memory.
var mostICC = map[string]float64{
	"74": 54, "74H": 58, "74L": 4, "74S": 60, "74LS": 13, "74ALS": 10, "74AS": 30, "74F": 30,
	"74HC": 0.08, "74HCT": 0.08, "74C": 0.08, "4000B": 0.08, "4000UB": 0.08,
}

// supply measures the current at the first step, the rails off: nothing loads an
// output, and every input is driven.
func (m *levelWalk) supply() {
	s := station{current: true}
	m.wanted[s] = part.PinSet(m.t.Variant.VCC(), m.t.Variant.GND())
	m.answer(func() {
		if v := m.volts(s, &m.t.Variant.Pins[m.t.Variant.VCC()-1]) - m.measured[s].Volts[m.t.Variant.GND()]; !math.IsNaN(v) {
			m.found.SupplyVolts = v
		}
		mA := m.measured[s].CurrentMA
		r := icc(mA, math.NaN())
		switch {
		case mA < 0:
			m.found.Unmeasured = append(m.found.Unmeasured, "supply current: the adapter has no monitor")
			return
		case small(m.t):
			r.Limit = mostICC[m.t.Family.Name]
		default:
			m.found.Unmeasured = append(m.found.Unmeasured, "supply current against a limit: none is known for the part")
		}
		m.found.Readings = append(m.found.Readings, r)
	})
}
