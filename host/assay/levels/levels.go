// Package levels measures a powered chip: output levels under load, input currents, leakage,
// open inputs and the supply current, each against its limit of the family's DC table
// (vectors/part, from the data books), and grades the chip by them. The loads are the
// adapter's bias and load resistors (firmware/README.md); how levels are extrapolated to
// the rated load, and how often that errs, are in ../README.md.
package levels

import (
	"context"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A Meter measures the pins of a powered chip, by the chip's pin numbers.
type Meter interface {
	// ApplyPulls applies steps with both rails at a level and leaves the last one driven.
	ApplyPulls(ctx context.Context, steps []stimulus.Step, bias, load adapter.Pull) ([]part.Pins, error)
	// Measure applies steps, each with its own rails, and gives the voltages asked for,
	// V, NaN where the adapter senses none, and the supply current.
	Measure(ctx context.Context, steps []adapter.MeasureStep) ([]adapter.Measured, error)
	// SupplyVolts measures what the chip gets between its supply pins, V; not a number
	// where they are not measured. It biases all pins low.
	SupplyVolts(ctx context.Context) (float64, error)
	// HoldLoad says what the load resistors do in Apply, Sweep and Walk.
	HoldLoad(load adapter.Pull)
	// Can says what the adapter senses, and whether it loads pins.
	Can() adapter.Abilities
	// Constants are the adapter's rail and resistors, as it was calibrated.
	Constants(ctx context.Context) (adapter.Constants, error)
}

// Electrical values of the adapter, revision B (firmware/README.md).
const (
	railVolts = 5.0
	driveOhms = 145 // resistor and the microcontroller's output
	loadOhms  = 1_000
)

// A Quantity is what was measured at a pin.
type Quantity string

// The quantities, by the data books' symbols.
const (
	VOL  Quantity = "VOL"  // output low, V
	VOH  Quantity = "VOH"  // output high, V
	IOZ  Quantity = "IOZ"  // leakage of a released output, mA, either way
	IIL  Quantity = "IIL"  // out of an input that is low, mA
	IIH  Quantity = "IIH"  // into an input that is high, mA
	Open Quantity = "open" // voltage of an open input, V
	ICC  Quantity = "ICC"  // supply current, mA
)

// A Reading is one measured value with its limit.
type Reading struct {
	Pin         int // 0 for the supply current
	Quantity    Quantity
	Value       float64 // V or mA
	Uncertainty float64 // the tester's own, either way
	Limit       float64 // a maximum, or for VOH a minimum; NaN where the data sheet gives none
	LoadMA      float64 // of an output level, mA
	RatedMA     float64 // at which the limit holds

	// The output's resistance, Ω, by a second load; the uncertainty is 0 where there was one
	// load. Besides, the level grows by Knee, V, when the load grows e-fold.
	Ohms, OhmsUncertainty, Knee float64
}

// Levels are what was measured after the function.
type Levels struct {
	Readings    []Reading
	Unmeasured  []string // what was not, and why
	Unloaded    bool     // output levels are those under the bias alone: no load resistors are fitted
	SupplyVolts float64  // between the chip's supply pins, with nothing loaded; 0 where it was not measured
	LowSupply   bool     // the chip's supply was below what its data sheet asks for
	Held        []string // released outputs that do not follow the bias both ways
	Family      string   // what the inputs say against the marking, or empty
	// Alone are the inputs of balanced lines that were driven with the opposite one released,
	// and Dead those of them that the output did not follow.
	Alone, Dead part.Pins
}

// Resistors of the adapter, Ω, and what they and the converter may be off.
const (
	BiasOhms       = 10_000
	bothOhms       = 1 / (1.0/BiasOhms + 1.0/loadOhms)
	rails1Percent  = 0.01 // of bias and load resistors
	driveTolerance = 0.08 // of 120 Ω within 1 % and 25 Ω within 40 %
	ConverterVolts = 0.01 // V, two steps of a 10-bit converter at 5 V
)

// WeakHigh gives an output that does not drive high by itself to what an input takes for
// high, V; 0 where there is none.
func (l *Levels) WeakHigh(high float64) (pin int) {
	for _, r := range l.Readings {
		if r.Quantity == VOH && r.Value+r.Uncertainty < high {
			return r.Pin
		}
	}
	return 0
}

// The adapter's inputs take a level below 0.3 of the rail for low and one above 0.6 for
// high; between them they read either way (ATmega2560 data sheet, from memory).
const (
	ReadsLow  = 0.3
	ReadsHigh = 0.6
)
