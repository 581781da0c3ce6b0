package conformance

import (
	"errors"
	"math"
	"testing"
	"time"

	"chipassay/host/adapter"
	"chipassay/protocol"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

const (
	// supplyVolts is the board's 5 V from a port of 5.00 V: it takes 80 mA through 0.6 Ω (firmware/carrier, usb).
	supplyVolts = 5.0 - 0.080*0.6
	ulp         = supplyVolts / 1024
	// tolerance of a voltage, V: three counts of the converter (firmware/README.md).
	tolerance = 3 * ulp
)

// settle is more than the node of a position takes to come to rest.
const settle = 50 * time.Microsecond

// railOf is the adapter's 5 V rail, V: by its reference, where it has one.
func railOf(a *adapter.Adapter) float64 {
	if a.RailVolts() != 0 {
		return a.RailVolts()
	}
	return supplyVolts
}

// near compares a voltage with what it must be, V.
func near(t *testing.T, what string, got, want float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %.3f V, want %.3f V", what, got, want)
	}
}

// An empty socket is nothing but the adapter's resistors, so Ohm's law says what
// is at each position: 120 Ω of a driver, 10 kΩ of the bias, 1 kΩ of the load, each
// behind its output, which has some 25 Ω in the microcontroller and 50 Ω in a register.
func resistors(t *testing.T, bench Bench) {
	a, seat := seat14(t, bench(t, ""))
	all := part.Pins(1<<adapter.Positions - 1)
	steps := []adapter.MeasureStep{
		{Bias: adapter.High},
		{Bias: adapter.Low},
		{Bias: adapter.High, Load: adapter.Low},
		{Bias: adapter.Low, Load: adapter.High},
		{Bias: adapter.High, Load: adapter.Low, Step: stimulus.Step{Driven: part.PinSet(1, 28), Drive: part.PinSet(1)}},
		{Bias: adapter.Low, Step: stimulus.Step{Driven: part.PinSet(7, 8), Drive: part.PinSet(7, 8)}}, // a supply position too
	}
	for i := range steps {
		steps[i].Pins, steps[i].Settle, steps[i].Averaging = all, 100*time.Microsecond, 2
	}
	measured, err := seat.ProbeMeasure(t.Context(), steps)
	if err != nil {
		t.Fatal(err)
	}
	if len(measured) != len(steps) {
		t.Fatalf("%d results of %d steps", len(measured), len(steps))
	}
	const driveOhms, biasOhms, loadOhms = 145, 10_050, 1_050
	rail := railOf(a)
	divided := func(up, down float64) float64 { return rail * down / (up + down) }
	parallel := func(x, y float64) float64 { return x * y / (x + y) }
	free := []float64{rail, 0, divided(biasOhms, loadOhms), divided(loadOhms, biasOhms), divided(biasOhms, loadOhms), 0}
	driven := []map[int]float64{4: {1: divided(parallel(driveOhms, biasOhms), loadOhms), 28: divided(biasOhms, parallel(driveOhms, loadOhms))},
		5: {7: divided(driveOhms, biasOhms), 8: divided(driveOhms, biasOhms)}}
	for i, m := range measured {
		for position := 1; position <= adapter.Positions; position++ {
			if !a.Capabilities.Measured.Has(position) {
				if !math.IsNaN(m.Volts[position]) {
					t.Errorf("step %d, position %d: %.3f V without a sense line", i, position, m.Volts[position])
				}
				continue
			}
			want, ok := driven[i][position]
			if !ok {
				want = free[i]
			}
			near(t, "position of an empty socket", m.Volts[position], want)
		}
	}
	if want := all; measured[0].High != want || measured[1].High != 0 {
		t.Errorf("with the bias high %v read high, low %v", measured[0].High, measured[1].High)
	}
	if want := part.PinSet(7, 8); measured[5].High != want {
		t.Errorf("%v read high, want %v", measured[5].High, want)
	}
	if err := seat.PowerOff(t.Context()); err != nil {
		t.Fatal(err)
	}
	mustBeSafe(t, a)
}

// On a powered 7410 each output is within a TTL output's levels under a light
// load (VOL max 0.4 V, VOH min 2.4 V, data book of standard TTL, from memory), the
// supply pin at the supply, and what is measured stays by the state of the inputs.
func levels(t *testing.T, bench Bench) {
	_, seat := seat14(t, bench(t, "7410"))
	powerOn(t, seat)
	vectors, high := nandSteps(8)
	var steps []adapter.MeasureStep
	for _, v := range vectors {
		steps = append(steps, adapter.MeasureStep{Step: v, Bias: adapter.High, Settle: adapter.CurrentSettle,
			Pins: signals | part.PinSet(14), Averaging: 3})
	}
	measured, err := seat.Measure(t.Context(), steps)
	if err != nil {
		t.Fatal(err)
	}
	for i, m := range measured {
		if got := m.High & signals; got != high[i] {
			t.Errorf("step %d: %v read high, want %v", i, got, high[i])
		}
		for _, g := range gates7410 {
			v, isHigh := m.Volts[g.output], high[i].Has(g.output)
			if isHigh && v < 2.4 || !isHigh && v > 0.4 {
				t.Errorf("step %d: output %d at %.3f V", i, g.output, v)
			}
		}
		if m.Volts[14] < 4.5 {
			t.Errorf("step %d: supply pin at %.3f V", i, m.Volts[14])
		}
		if m.CurrentMA >= 0 && (m.CurrentMA < 1 || m.CurrentMA > 25) {
			t.Errorf("step %d: %.2f mA", i, m.CurrentMA)
		}
	}
	for _, leading := range []int{0, 3, 100} {
		many, _ := nandSteps(leading)
		// As many steps as fit go with the measurement, more are applied before it.
		if leading > 3 {
			if _, err := seat.ApplyPulls(t.Context(), many, adapter.High, adapter.Off); err != nil {
				t.Fatal(err)
			}
			many = nil
		}
		var measures []adapter.MeasureStep
		for _, step := range append(many, vectors[7]) {
			measures = append(measures, adapter.MeasureStep{
				Step: step, Bias: adapter.High, Settle: settle, Pins: 1<<14 - 1, Averaging: 3,
			})
		}
		measured, err := seat.Measure(t.Context(), measures)
		if err != nil {
			t.Fatal(err)
		}
		volts := measured[len(measured)-1].Volts
		if !(volts[12] < 0.4) || !(volts[6] > 2.4) || !math.IsNaN(volts[15]) {
			t.Errorf("all inputs of the first gate high: %v", volts)
		}
	}
	measured, err = seat.Measure(t.Context(), []adapter.MeasureStep{{Step: vectors[7], Bias: adapter.High, Settle: adapter.CurrentSettle}})
	if err != nil {
		t.Fatal(err)
	}
	if current := measured[0].CurrentMA; current >= 0 && (current < 1 || current > 25) {
		t.Errorf("supply current %.2f mA", current)
	}
}

func measureRefusals(t *testing.T, bench Bench) {
	a, seat := seat14(t, bench(t, "7410"))
	step := adapter.MeasureStep{Pins: part.PinSet(1)}
	if _, err := seat.Measure(t.Context(), []adapter.MeasureStep{step}); !errors.Is(err, protocol.NotPowered) {
		t.Errorf("without supply: %v, want NotPowered", err)
	}
	mustBeSafe(t, a)
	powerOn(t, seat)
	step.Driven = part.PinSet(7)
	if _, err := seat.Measure(t.Context(), []adapter.MeasureStep{step}); !errors.Is(err, protocol.Conflict) {
		t.Errorf("driving the ground pin: %v, want Conflict", err)
	}
	mustBeSafe(t, a)
	for _, bad := range []adapter.MeasureStep{{Averaging: 8}, {Settle: time.Second}} {
		powerOn(t, seat)
		if _, err := seat.Measure(t.Context(), []adapter.MeasureStep{bad}); !errors.Is(err, adapter.ErrCannot) {
			t.Errorf("%+v: %v, want ErrCannot", bad, err)
		}
		mustBeSafe(t, a)
	}
}

// manyMeasurements go in as many requests as payload and time allow.
func manyMeasurements(t *testing.T, bench Bench) {
	a, seat := seat14(t, bench(t, ""))
	steps := make([]adapter.MeasureStep, 100)
	for i := range steps {
		steps[i] = adapter.MeasureStep{Bias: [...]adapter.Pull{adapter.Low, adapter.High}[i%2], Settle: 30 * time.Millisecond, Pins: part.PinSet(1, 28), Averaging: 7}
	}
	measured, err := seat.ProbeMeasure(t.Context(), steps)
	if err != nil {
		t.Fatal(err)
	}
	if len(measured) != len(steps) {
		t.Fatalf("%d results of %d steps", len(measured), len(steps))
	}
	for i, m := range measured {
		want := railOf(a) * float64(i%2)
		near(t, "position 1", m.Volts[1], want)
		near(t, "position 28", m.Volts[28], want)
	}
}

func calibration(t *testing.T, bench Bench) {
	conn := bench(t, "")
	a, seat := seat14(t, conn)
	c, err := a.Calibration(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if c.State != protocol.CalibrationNone || c.SupplyVolts != 5 || c.ShuntGain != 1 || c.LoadOhms != 1000 || len(c.Channels) != 16 {
		t.Errorf("a new adapter goes by %+v", c)
	}
	c.SupplyVolts = 4.9
	c.Channels[28] = adapter.Channel{Gain: 1.03125, OffsetMV: -50} // 1 + 1/32
	if err := a.SetCalibration(t.Context(), c); err != nil {
		t.Fatal(err)
	}
	mustBeSafe(t, a)
	if board, ok := conn.(interface{ Reset() error }); ok {
		if err := board.Reset(); err != nil {
			t.Fatal(err)
		}
	}
	c.State = protocol.CalibrationStored
	kept, err := a.Calibration(t.Context())
	if err != nil || kept.SupplyVolts != 4.9 || kept.State != c.State || kept.Channels[28] != c.Channels[28] {
		t.Errorf("kept %+v, %v", kept, err)
	}
	measured, err := seat.ProbeMeasure(t.Context(), []adapter.MeasureStep{{
		Bias: adapter.High, Settle: settle, Pins: 1<<adapter.Positions - 1, Averaging: 3,
	}})
	if err != nil {
		t.Fatal(err)
	}
	volts := measured[0].Volts
	full, scale := 4.9*1023/1024, 1.0
	if a.Capabilities.Reference { // which says what it really is
		scale = railOf(a) / 4.9
	}
	near(t, "position 1 at the supply", volts[1], scale*full)
	near(t, "position 28 at the supply", volts[28], scale*(full*1.03125-0.050))

	for name, nonsense := range map[string]func(*adapter.Calibration){
		"a supply of 3.3 V":  func(c *adapter.Calibration) { c.SupplyVolts = 3.3 },
		"a gain of 2":        func(c *adapter.Calibration) { c.Channels[1] = adapter.Channel{Gain: 2} },
		"a gain of no value": func(c *adapter.Calibration) { c.ShuntGain = math.NaN() },
		"a position missing": func(c *adapter.Calibration) { delete(c.Channels, 3) },
		"100 Ω of load":      func(c *adapter.Calibration) { c.LoadOhms = 100 },
	} {
		bad, err := a.Calibration(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		nonsense(&bad)
		if err := a.SetCalibration(t.Context(), bad); !errors.Is(err, adapter.ErrCannot) {
			t.Errorf("%s: %v, want ErrCannot", name, err)
		}
	}
	if kept, err = a.Calibration(t.Context()); err != nil || kept.SupplyVolts != 4.9 {
		t.Errorf("after nonsense: %+v, %v", kept, err)
	}
	if err := a.ForgetCalibration(t.Context()); err != nil {
		t.Fatal(err)
	}
	if kept, err = a.Calibration(t.Context()); err != nil || kept.State != protocol.CalibrationNone || kept.SupplyVolts != 5 {
		t.Errorf("after forgetting: %+v, %v", kept, err)
	}
}
