// Package thresholds measures at which voltages the inputs of a powered chip switch. A capacitor
// at the input, clipped to the side header, makes its voltage a ramp: up through the bias, down
// through the bias or, where an input gives more current than the bias takes, through the drive. The
// adapter releases the pin the moment the output changes and measures the voltage that the
// capacitor holds (protocol/SPEC.md, WATCH). Limits are those of the Schmitt triggers' data sheets
// (vectors/part, schmitt.go), and of the other inputs VIL and VIH of their family.
package thresholds

import (
	"context"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A Socket is a chip's place in an adapter that watches. *adapter.Seat is one.
type Socket interface {
	Can() adapter.Abilities
	Watch(ctx context.Context, w adapter.Watch) (adapter.Watched, error)
	ProbeWatch(ctx context.Context, w adapter.Watch) (adapter.Watched, error)
	Measure(ctx context.Context, steps []adapter.MeasureStep) ([]adapter.Measured, error)
	ApplySettling(ctx context.Context, steps []stimulus.Step, bias adapter.Pull, settle time.Duration) ([]part.Pins, error)
	Constants(ctx context.Context) (adapter.Constants, error)
	ConversionTime(pin int) time.Duration
}

// A Request is what is to be measured, and with what.
type Request struct {
	Farads float64   // of the capacitor, as it is marked
	All    bool      // every input, not only those with Schmitt triggers and one of each gate
	Only   part.Pins // these inputs alone, where there are any
	// Clip has the capacitor clipped between a pin and ground, or taken off where pin is 0. The
	// supply is off.
	Clip func(ctx context.Context, pin int) error
}

// Farads that make a ramp which is slow enough, and not too slow.
const (
	LeastFarads = 90e-9
	MostFarads  = 11e-6
)

// Cautions are what a person must know who clips a capacitor to a pin.
var Cautions = []string{
	"the supply is off while you clip: do not clip or unclip while the lamp of the supply is lit",
	"discharge the capacitor before you clip it: short its leads",
	"an electrolytic has its plus at the input's pin, and its minus at ground",
}

// A Value is a measured voltage.
type Value struct{ Volts, Uncertainty float64 }

// An Input is what was measured at one input.
type Input struct {
	Pin, Output     int
	Schmitt         bool
	Inverts         bool // the output falls as the input rises
	Farads          float64
	SupplyVolts     float64
	Rising, Falling Value // where the output follows as the input rises, and as it falls; not both where Only says so
	Only            Way
	Ramps           int // each way
	Limits          part.SchmittLimits
	Limited         bool // there are Limits
}

// A Way is which way an output follows an input.
type Way int

// Both is what most inputs do; a clock or a clear may move an output only one way.
const (
	Both Way = iota
	OnlyRising
	OnlyFalling
)

// Hysteresis is the difference of the two thresholds. What both have of the converter's
// error in common is in neither's favour.
func (in Input) Hysteresis() Value {
	v := Value{in.Rising.Volts - in.Falling.Volts, in.Rising.Uncertainty + in.Falling.Uncertainty}
	if v.Volts < 0 && -v.Volts <= v.Uncertainty {
		v.Volts = 0 // none is less than none
	}
	return v
}
