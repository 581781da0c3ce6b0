package assay

import (
	"context"
	"fmt"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A LevelMeter measures the pins of a powered chip, by the chip's pin numbers.
type LevelMeter interface {
	// ApplyPulls applies steps with both rails at a level and leaves the last one driven.
	ApplyPulls(ctx context.Context, steps []stimulus.Step, bias, load adapter.Pull) ([]part.Pins, error)
	// Measure applies steps, each with its own rails, and gives the voltages asked for,
	// V, NaN where the adapter senses none, and the supply current.
	Measure(ctx context.Context, steps []adapter.MeasureStep) ([]adapter.Measured, error)
	// SupplyVolts measures what the chip gets between its supply pins, V; not a number
	// where they are not measured. It biases all pins low.
	SupplyVolts(ctx context.Context) (float64, error)
	// HoldLoad says what the load resistors do in Apply and in an Engine's steps.
	HoldLoad(load adapter.Pull)
	// Loads tells whether the load resistors are fitted.
	Loads() bool
}

// Electrical values of the adapter, revision B (firmware/README.md).
const (
	railVolts = 5.0
	driveOhms = 145 // resistor and the microcontroller's output
	loadOhms  = 1_000
)

// design are the constants of revision B, for a meter that knows no others.
var design = adapter.Constants{SupplyVolts: railVolts, BiasOhms: biasOhms, LoadOhms: loadOhms, DriveOhms: driveOhms}

// constantsOf gives the constants of a meter's adapter, as it was calibrated.
func constantsOf(ctx context.Context, meter LevelMeter) (adapter.Constants, error) {
	if calibrated, ok := meter.(interface {
		Constants(ctx context.Context) (adapter.Constants, error)
	}); ok {
		return calibrated.Constants(ctx)
	}
	return design, nil
}

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
}

// Resistors of the adapter, Ω, and what they and the converter may be off.
const (
	biasOhms       = 10_000
	bothOhms       = 1 / (1.0/biasOhms + 1.0/loadOhms)
	rails1Percent  = 0.01 // of bias and load resistors
	driveTolerance = 0.08 // of 120 Ω within 1 % and 25 Ω within 40 %
	converterVolts = 0.01 // V, two steps of a 10-bit converter at 5 V
)

// A loading is how the rails load an output: through one resistor or both.
type loading struct {
	ohms       float64
	bias, load bool
}

var loadings = []loading{{biasOhms, true, false}, {loadOhms, false, true}, {bothOhms, true, true}}

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
func (m *levelWalk) loadFor(volts, ratedMA float64) loading {
	best := loadings[0]
	for _, l := range loadings {
		if mA := volts / l.ohms * 1000; mA <= ratedMA*1.2 {
			best = l
		}
	}
	if best.load && !m.loads {
		m.found.Unloaded = true
		return loadings[0]
	}
	return best
}

// A Margin is an input that the adapter may not drive to a valid low, by the data
// sheet's worst case: IIL through its drive resistance.
type Margin struct {
	Pin     int
	Volts   float64 // V, at most
	VIL     float64 // V
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

// hopeless tells whether even a typical chip's input cannot be driven low.
func (m Margin) hopeless() bool { return m.typical+groundLift > roomVIL }

func (m Margin) String() string {
	return fmt.Sprintf("pin %d: driven low it may stand as high as %.2f V, over VIL of %.1f V", m.Pin, m.Volts, m.VIL)
}

// MarginWords says margins in one line, the worst one's volts.
func MarginWords(margins []Margin) string {
	var pins []int
	worst := margins[0]
	for _, m := range margins {
		pins = append(pins, m.Pin)
		if m.Volts > worst.Volts {
			worst = m
		}
	}
	return fmt.Sprintf("driven low, %s may stand as high as %.2f V at worst, over VIL of %.1f V", pinList(pins), worst.Volts, worst.VIL)
}

// Margins gives the inputs of a type whose worst case the adapter cannot drive low.
func Margins(t part.Type) (short []Margin) {
	for _, p := range t.Variant.Pins {
		if v := t.Family.IIL * p.LoadIn(t.Family) / 1000 * driveOhms; p.Drivable() && v > t.Family.VIL {
			short = append(short, Margin{p.Number, v, t.Family.VIL, typicalLow(t.Family, v)})
		}
	}
	return short
}
