package memory

import (
	"context"
	"errors"
	"fmt"
	"math"

	"chipassay/host/adapter"
	"chipassay/host/assay/levels"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// Levels measures a powered memory: its outputs low and high as it reads word 0,
// its address and data inputs while nothing is selected, and its supply current.
func (w *Run) Levels() (*levels.Levels, error) {
	r, err := levels.NewReader(w.ctx, w.socket, w.t)
	if err != nil {
		return nil, err
	}
	for _, high := range []bool{false, true} {
		word := w.reads(high)
		if w.m.Kind != part.DynamicRAM {
			if err := w.put(word); err != nil {
				return nil, err
			}
		}
		if err := w.outputLevels(w.ctx, r, high, word); err != nil {
			return nil, err
		}
	}
	return r.Levels, w.inputLevels(w.ctx, r)
}

// reads is the word that reads all high, or all low.
func (b bench) reads(high bool) uint32 {
	if high != b.m.Inverted {
		return 1<<b.m.Bits - 1
	}
	return 0
}

// put writes word 0.
func (w *Run) put(word uint32) error {
	c := w.program(w.counting())
	c.at(0, c.write(word))
	return w.run(c, func(adapter.Run) error { return nil })
}

// reading gives the steps that lead from rest to a word at the outputs of a static memory.
func (b bench) reading(address int) (steps []stimulus.Step) {
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
	step(b.m.Select...)
	if b.m.Enable != nil {
		step(*b.m.Enable)
	}
	return steps
}

// outputLevels measures VOL or VOH. The 10 kΩ of the bias rail load the outputs: the
// load rail would lift the inputs that are driven low, at which MOS parts promise less. What cannot be measured within
// the time that a dynamic memory's strobes may be low is said.
func (b bench) outputLevels(ctx context.Context, r levels.Reader, high bool, word uint32) error {
	rail := adapter.High
	if high {
		rail = adapter.Low
	}
	if high && againstBias(b.t) == adapter.High {
		return nil // they drive low only
	}
	volts, err := b.shown(ctx, 0, rail, part.PinSet(b.m.DataOut...).With(b.t.Variant.GND(), true), word)
	if b.m.Kind == part.DynamicRAM && errors.Is(err, adapter.ErrCannot) {
		if high {
			r.Unmeasured = append(r.Unmeasured, fmt.Sprintf("the output levels: %v, and /RAS may be low for no more than 10 µs", err))
		}
		return nil
	}
	if err != nil {
		return err
	}
	lift := volts[b.t.Variant.GND()]
	if math.IsNaN(lift) {
		lift = 0
	}
	for _, n := range b.m.DataOut {
		pin := &b.t.Variant.Pins[n-1]
		read := r.Low
		if high {
			read = r.High
		}
		r.Keep(pin, read(pin, volts[n], lift, r.K.BiasOhms))
	}
	return nil
}

// shown measures pins in the state in which a word stands at the outputs, under a bias. A dynamic memory is to
// hold the word in its first cell; its strobes are low for some µs at a time.
func (b bench) shown(ctx context.Context, address int, bias adapter.Pull, pins part.Pins, word uint32) (volts [29]float64, err error) {
	if b.m.Kind == part.DynamicRAM {
		return b.strobed(ctx, bias, pins, word)
	}
	var steps []adapter.MeasureStep
	for _, st := range b.reading(address) {
		steps = append(steps, adapter.MeasureStep{Step: st, Bias: bias, Settle: levels.WaySettle})
	}
	n := len(steps) - 1
	steps[n].Settle, steps[n].Pins, steps[n].Averaging = max(levels.Settle, b.m.Access), pins, levels.Averaging
	measured, err := b.socket.Measure(ctx, append(steps, adapter.MeasureStep{Step: steps[0].Step, Bias: bias}))
	if err != nil {
		return volts, err
	}
	return measured[n].Volts, nil
}

// strobed measures pins of a dynamic memory while it shows the word of its first cell, written before: /RAS may be low
// for 10 µs at most, so each sample is an access of its own, and the refresh goes on between them.
func (b bench) strobed(ctx context.Context, bias adapter.Pull, pins part.Pins, word uint32) (volts [29]float64, err error) {
	if err := b.socket.Pulls(ctx, bias, adapter.Off); err != nil {
		return volts, err
	}
	const samples = 1<<levels.Averaging + 1 // the first of a pin is worth nothing
	c := b.program(b.counting())
	c.at(0, c.write(word))
	for i := range volts {
		volts[i] = math.NaN()
	}
	var order []int
	for pin := range pins.All() {
		c.Loop(2, 1, samples)
		switch err := c.Convert(pin, max(leastSettle, b.m.Access), [3]part.Pins{pinOf(b.m.RAS), pinOf(b.m.CAS), pinOf(b.m.Enable)}); {
		case errors.Is(err, adapter.ErrCannot) && pin == b.t.Variant.GND():
			c.Next(2)
			continue // what the ground is lifted by is not known then
		case err != nil:
			return volts, err
		}
		c.Next(2)
		order = append(order, pin)
	}
	var output []byte
	if err := c.RunToEnd(ctx, runBudget, nil, func(r adapter.Run) error { output = append(output, r.Output...); return nil }); err != nil {
		return volts, err
	}
	all := c.Volts(output)
	if len(all) != samples*len(order) {
		return volts, fmt.Errorf("%d voltages of %d pins came back", len(all), len(order))
	}
	for i, pin := range order {
		sum := 0.0
		for _, v := range all[i*samples+1 : (i+1)*samples] {
			sum += v
		}
		volts[pin] = sum / (samples - 1)
	}
	return volts, nil
}

// inputLevels measures IIL and IIH of the address and data inputs, released one by
// one and pulled low, by the load where they are bipolar, and high by the bias; and the
// supply current.
func (b bench) inputLevels(ctx context.Context, r levels.Reader) error {
	driven, idle := b.driven()
	steps := []adapter.MeasureStep{{Step: stimulus.Step{Driven: driven, Drive: idle}, Settle: adapter.CurrentSettle}}
	ohms := r.K.BiasOhms
	if b.t.Family.Technology.Bipolar() {
		if ohms = r.K.LoadOhms; !r.Loads {
			ohms = math.NaN()
			r.Unmeasured = append(r.Unmeasured, "IIL: the adapter's load resistors are not fitted")
		}
	}
	pins := append([]int{}, b.m.Address...)
	if !b.m.CommonData() {
		pins = append(pins, b.m.DataIn...)
	}
	for _, n := range pins {
		free := driven.With(n, false)
		let := adapter.MeasureStep{Step: stimulus.Step{Driven: free, Drive: idle & free}, Settle: levels.Settle, Pins: part.PinSet(n), Averaging: levels.Averaging}
		low, high := let, let
		high.Bias = adapter.High
		switch {
		case ohms == r.K.BiasOhms:
			low.Bias = adapter.Low
		case r.Loads:
			low.Load = adapter.PullUp(idle & free)
		}
		steps = append(steps, low, high)
	}
	// A short request ends the program before. Its refresh of 512 rows takes the adapter so long that a long
	// request would not all be received meanwhile.
	if err := b.socket.Pulls(ctx, adapter.High, adapter.Off); err != nil {
		return err
	}
	measured, err := b.socket.Measure(ctx, steps)
	if err != nil {
		return err
	}
	for i, n := range pins {
		pin := &b.t.Variant.Pins[n-1]
		if !math.IsNaN(ohms) {
			r.Keep(pin, r.InputLow(pin, measured[1+2*i].Volts[n], ohms))
		}
		r.Keep(pin, r.InputHigh(pin, measured[2+2*i].Volts[n]))
	}
	r.Supply(measured[0].CurrentMA)
	return nil
}

// hazyHigh measures the highs of a word under the low bias, and gives the lowest that
// stands where the adapter's inputs read either way, V; 0 where none does. An NMOS
// output's high stands at 2.0 to 3.05 V (design.md). Lows are the pins that stand low
// though they should be high.
func (b bench) hazyHigh(ctx context.Context, address int, ones part.Pins) (hazy float64, lows part.Pins, err error) {
	k, err := b.socket.Constants(ctx)
	if err != nil {
		return 0, 0, err
	}
	volts, err := b.shown(ctx, address, adapter.Low, ones, b.reads(true))
	if err != nil {
		return 0, 0, err
	}
	low, high := levels.ReadsLow*k.SupplyVolts-levels.ConverterVolts, levels.ReadsHigh*k.SupplyVolts+hazeVolts
	for pin := range ones.All() {
		v := volts[pin]
		lows = lows.With(pin, v <= low)
		if v > low && v < high && (hazy == 0 || v < hazy) {
			hazy = v
		}
	}
	return hazy, lows, nil
}

// hazeVolts, V, is by how much the highs of other words may be below those that are measured.
const hazeVolts = 0.15

// hazyWords say what a high that reads either way leaves untested.
func hazyWords(volts float64) string {
	return fmt.Sprintf("whether the outputs drive high by themselves in every word: a high is at %.2f V under the low bias, where the adapter's inputs may read either way; it was measured in one word", volts)
}
