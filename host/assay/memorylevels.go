package assay

import (
	"fmt"
	"math"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// levels measures a powered memory: its outputs low and high as it reads word 0,
// its address and data inputs while nothing is selected, and its supply current.
func (w marcher) levels(meter LevelMeter) error {
	b := w.bench
	k, err := constantsOf(w.ctx, meter)
	if err != nil {
		return err
	}
	m := levelWalk{ctx: w.ctx, meter: meter, t: b.t, k: k, found: &Levels{}}
	for _, high := range []bool{false, true} {
		word := uint32(0)
		if high != b.m.Inverted {
			word = 1<<b.m.Bits - 1
		}
		if err := w.put(word); err != nil {
			return err
		}
		if err := b.outputLevels(&m, high); err != nil {
			return err
		}
	}
	if err := b.inputLevels(&m); err != nil {
		return err
	}
	w.result.Levels = m.found
	return nil
}

// put writes word 0.
func (w marcher) put(word uint32) error {
	c := w.bench.program(w.bench.counting())
	c.at(0)
	c.write(word)
	if err := c.Load(w.ctx); err != nil {
		return err
	}
	return w.finish(c, func(adapter.Run) error { return nil })
}

// reading gives the steps that lead from rest to word 0 at the outputs.
func (b memoryBench) reading() (steps []stimulus.Step) {
	driven, idle := b.driven()
	level := idle
	step := func(active ...part.Control) {
		for _, c := range active {
			level = level.With(c.Pin, c.Active)
		}
		steps = append(steps, stimulus.Step{Driven: driven, Drive: level})
	}
	step()
	if b.m.Kind == part.DynamicRAM {
		step(*b.m.RAS)
		step(*b.m.CAS)
	} else {
		step(b.m.Select...)
	}
	if b.m.Enable != nil {
		step(*b.m.Enable)
	}
	return steps
}

// outputLevels measures VOL or VOH. The 10 kΩ of the bias rail load the outputs: the
// load rail would lift the inputs that are driven low, at which MOS parts promise less.
func (b memoryBench) outputLevels(m *levelWalk, high bool) error {
	rail := adapter.High
	if high {
		rail = adapter.Low
	}
	if high && b.t.Variant.Pins[b.m.DataOut[0]-1].Stage == part.OpenCollector {
		return nil // they drive low only
	}
	var steps []adapter.MeasureStep
	for _, st := range b.reading() {
		steps = append(steps, adapter.MeasureStep{Step: st, Bias: rail, Settle: waySettle})
	}
	last := &steps[len(steps)-1]
	last.Settle, last.Pins, last.Averaging = max(stationSettle, b.m.Access), part.PinSet(b.m.DataOut...), stationAveraging
	measured, err := m.meter.Measure(m.ctx, append(steps, adapter.MeasureStep{Step: steps[0].Step, Bias: rail}))
	if err != nil {
		return err
	}
	for _, n := range b.m.DataOut {
		pin := &b.t.Variant.Pins[n-1]
		v, o := measured[len(steps)-1].Volts[n], m.outputs(pin)
		if high {
			m.read(pin, Reading{Quantity: VOH, Value: v, Limit: o.VOH, RatedMA: o.IOH,
				LoadMA: v / m.k.BiasOhms * 1000, Uncertainty: converterVolts + rails1Percent*max(0, m.k.SupplyVolts-v)})
		} else {
			m.read(pin, Reading{Quantity: VOL, Value: v, Limit: o.VOL, RatedMA: o.IOL,
				LoadMA: (m.k.SupplyVolts - v) / m.k.BiasOhms * 1000, Uncertainty: converterVolts + rails1Percent*v})
		}
	}
	return nil
}

// inputLevels measures IIL and IIH of the address and data inputs, let go one by
// one under the load rail low and the bias rail high, and the supply current.
func (b memoryBench) inputLevels(m *levelWalk) error {
	driven, idle := b.driven()
	steps := []adapter.MeasureStep{{Step: stimulus.Step{Driven: driven, Drive: idle}, Settle: adapter.CurrentSettle}}
	pins := append([]int{}, b.m.Address...)
	if !b.common() {
		pins = append(pins, b.m.DataIn...)
	}
	for _, n := range pins {
		free := driven.With(n, false)
		let := adapter.MeasureStep{Step: stimulus.Step{Driven: free, Drive: idle & free}, Settle: stationSettle, Pins: part.PinSet(n), Averaging: stationAveraging}
		low, high := let, let
		low.Load, high.Bias = adapter.Low, adapter.High
		steps = append(steps, low, high)
	}
	measured, err := m.meter.Measure(m.ctx, steps)
	if err != nil {
		return err
	}
	for i, n := range pins {
		pin := &b.t.Variant.Pins[n-1]
		out := measured[1+2*i].Volts[n] / m.k.LoadOhms * 1000
		in := (m.k.SupplyVolts - measured[2+2*i].Volts[n]) / m.k.BiasOhms * 1000
		load := pin.LoadIn(b.t.Family)
		m.read(pin, Reading{Quantity: IIL, Value: out, Limit: b.t.Family.IIL * load, Uncertainty: current(out, loadOhms, rails1Percent)})
		m.read(pin, Reading{Quantity: IIH, Value: in, Limit: b.t.Family.IIH * load, Uncertainty: current(in, biasOhms, rails1Percent)})
	}
	mA := measured[0].CurrentMA
	if mA < 0 {
		m.found.Unmeasured = append(m.found.Unmeasured, "supply current: the adapter has no monitor")
		return nil
	}
	m.found.Unmeasured = append(m.found.Unmeasured, fmt.Sprintf("supply current against a limit: none is known for a %s", b.t.Name()))
	m.found.Readings = append(m.found.Readings, Reading{Quantity: ICC, Value: mA, Limit: math.NaN(), Uncertainty: 0.02 + rails1Percent*mA})
	return nil
}
