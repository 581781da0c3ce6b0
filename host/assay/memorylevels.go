package assay

import (
	"context"
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
	m := levelWalk{ctx: w.ctx, meter: meter, t: b.t, k: k, loads: meter.Loads(), found: &Levels{}}
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
	w.result.measured(m.found)
	return nil
}

// put writes word 0.
func (w marcher) put(word uint32) error {
	c := w.bench.program(w.bench.counting())
	c.at(0)
	c.write(word)
	return w.run(c, func(adapter.Run) error { return nil })
}

// reading gives the steps that lead from rest to a word at the outputs; of a dynamic
// memory word 0.
func (b memoryBench) reading(address int) (steps []stimulus.Step) {
	driven, idle := b.driven()
	level := idle
	for i, pin := range b.m.Address {
		level = level.With(pin, address>>i&1 != 0)
	}
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
	if high && againstBias(b.t) == adapter.High {
		return nil // they drive low only
	}
	var steps []adapter.MeasureStep
	for _, st := range b.reading(0) {
		steps = append(steps, adapter.MeasureStep{Step: st, Bias: rail, Settle: waySettle})
	}
	last := &steps[len(steps)-1]
	last.Settle, last.Pins, last.Averaging = max(stationSettle, b.m.Access), part.PinSet(b.m.DataOut...).With(b.t.Variant.GND(), true), stationAveraging
	measured, err := m.meter.Measure(m.ctx, append(steps, adapter.MeasureStep{Step: steps[0].Step, Bias: rail}))
	if err != nil {
		return err
	}
	lift := measured[len(steps)-1].Volts[b.t.Variant.GND()]
	if math.IsNaN(lift) {
		lift = 0
	}
	for _, n := range b.m.DataOut {
		pin := &b.t.Variant.Pins[n-1]
		v := measured[len(steps)-1].Volts[n]
		if high {
			m.read(pin, m.voh(pin, v, lift, m.k.BiasOhms))
		} else {
			m.read(pin, m.vol(pin, v, lift, m.k.BiasOhms))
		}
	}
	return nil
}

// inputLevels measures IIL and IIH of the address and data inputs, let go one by
// one and pulled low, by the load where they are bipolar, and high by the bias; and the
// supply current.
func (b memoryBench) inputLevels(m *levelWalk) error {
	driven, idle := b.driven()
	steps := []adapter.MeasureStep{{Step: stimulus.Step{Driven: driven, Drive: idle}, Settle: adapter.CurrentSettle}}
	ohms := m.k.BiasOhms
	if b.t.Family.Technology.Bipolar() {
		if ohms = m.k.LoadOhms; !m.loads {
			ohms = math.NaN()
			m.found.Unmeasured = append(m.found.Unmeasured, "IIL: the adapter's load resistors are not fitted")
		}
	}
	pins := append([]int{}, b.m.Address...)
	if !b.m.CommonData() {
		pins = append(pins, b.m.DataIn...)
	}
	for _, n := range pins {
		free := driven.With(n, false)
		let := adapter.MeasureStep{Step: stimulus.Step{Driven: free, Drive: idle & free}, Settle: stationSettle, Pins: part.PinSet(n), Averaging: stationAveraging}
		low, high := let, let
		high.Bias = adapter.High
		switch {
		case ohms == m.k.BiasOhms:
			low.Bias = adapter.Low
		case m.loads:
			low.Load = adapter.PullUp(idle & free)
		}
		steps = append(steps, low, high)
	}
	measured, err := m.meter.Measure(m.ctx, steps)
	if err != nil {
		return err
	}
	for i, n := range pins {
		pin := &b.t.Variant.Pins[n-1]
		if out := measured[1+2*i].Volts[n] / ohms * 1000; !math.IsNaN(ohms) {
			m.read(pin, Reading{Quantity: IIL, Value: out, Limit: b.t.Family.IIL * pin.LoadIn(b.t.Family), Uncertainty: current(out, ohms, rails1Percent)})
		}
		m.read(pin, m.iih(pin, measured[2+2*i].Volts[n]))
	}
	mA := measured[0].CurrentMA
	if mA < 0 {
		m.found.Unmeasured = append(m.found.Unmeasured, "supply current: the adapter has no monitor")
		return nil
	}
	m.found.Unmeasured = append(m.found.Unmeasured, fmt.Sprintf("supply current against a limit: none is known for a %s", b.t.Name()))
	m.found.Readings = append(m.found.Readings, icc(mA, math.NaN()))
	return nil
}

// hazyHigh measures the highs of a word under the low bias, and gives the lowest that
// stands where the adapter's inputs read either way, V; 0 where none does. An NMOS
// output's high stands at 2.0 to 3.05 V (design.md). Lows are the pins that stand low
// though they should be high.
func (b memoryBench) hazyHigh(ctx context.Context, meter LevelMeter, address int, ones part.Pins) (hazy float64, lows part.Pins, err error) {
	k, err := constantsOf(ctx, meter)
	if err != nil {
		return 0, 0, err
	}
	var steps []adapter.MeasureStep
	for _, st := range b.reading(address) {
		steps = append(steps, adapter.MeasureStep{Step: st, Bias: adapter.Low, Settle: waySettle})
	}
	last := &steps[len(steps)-1]
	last.Settle, last.Pins, last.Averaging = max(stationSettle, b.m.Access), ones, stationAveraging
	measured, err := meter.Measure(ctx, append(steps, adapter.MeasureStep{Step: steps[0].Step, Bias: adapter.Low}))
	if err != nil {
		return 0, 0, err
	}
	for pin := range ones.All() {
		v := measured[len(steps)-1].Volts[pin]
		lows = lows.With(pin, v <= readsLow*k.SupplyVolts-converterVolts)
		if v > readsLow*k.SupplyVolts-converterVolts && v < readsHigh*k.SupplyVolts+hazeVolts && (hazy == 0 || v < hazy) {
			hazy = v
		}
	}
	return hazy, lows, nil
}

// hazeVolts, V, is by how much the highs of other words may be below those that are measured.
const hazeVolts = 0.15

// hazyWords say what a high that reads either way leaves untested.
func hazyWords(volts float64) string {
	return fmt.Sprintf("whether the outputs drive high by themselves in every word: a high stands at %.2f V under the low bias, which the adapter's inputs read either way, and was measured in one word", volts)
}
