package assay

import (
	"context"
	"fmt"
	"maps"
	"math"
	"slices"

	"chipassay/host/adapter"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A LevelMeter measures the pins of a powered chip.
type LevelMeter interface {
	// Volts applies steps, by the chip's pin numbers, with both rails at a level, and
	// gives the voltage of each pin after the last, V; NaN where the adapter senses none.
	Volts(ctx context.Context, steps []stimulus.Step, bias, load adapter.Rail) ([adapter.Positions + 1]float64, error)
	// Current gives the supply current as it is, mA; negative where there is no monitor.
	Current(ctx context.Context) (float64, error)
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
	Readings   []Reading
	Unmeasured []string // what was not, and why
	Family     string   // what the inputs say against the marking, or empty
}

// Resistors of the adapter, Ω, and what they and the converter may be off.
const (
	biasOhms       = 10_000
	bothOhms       = 1 / (1.0/biasOhms + 1.0/loadOhms)
	rails1Percent  = 0.01 // of bias and load resistors
	driveTolerance = 0.06 // of 180 Ω within 1 % and 25 Ω within 40 %
	converterVolts = 0.01 // V, two steps of a 10-bit converter at 5 V
)

// A loading is how the rails load an output: through one resistor or both.
type loading struct {
	ohms       float64
	bias, load bool
}

var loadings = []loading{{biasOhms, true, false}, {loadOhms, false, true}, {bothOhms, true, true}}

// rails gives the levels of the rails, both the same.
func (l loading) rails(level adapter.Rail) (bias, load adapter.Rail) {
	if l.bias {
		bias = level
	}
	if l.load {
		load = level
	}
	return bias, load
}

// loadFor chooses the loading with the current nearest below the rated one, mA,
// across some volts. The weakest is taken where all are above it.
func loadFor(volts, ratedMA float64) loading {
	best := loadings[0]
	for _, l := range loadings {
		if mA := volts / l.ohms * 1000; mA <= ratedMA*1.2 {
			best = l
		}
	}
	return best
}

// A levelWalk measures one chip in the states of its sequence.
type levelWalk struct {
	ctx     context.Context
	meter   LevelMeter
	t       part.Type
	steps   []stimulus.Step
	applied int // of steps
	found   *Levels
}

// reach bounds how far into the sequence states are looked for, steps.
const reach = 4096

// MeasureLevels measures the powered chip in states that its sequence passes through.
func MeasureLevels(ctx context.Context, meter LevelMeter, t part.Type, s *stimulus.Sequence) (*Levels, error) {
	m := levelWalk{ctx: ctx, meter: meter, t: t, steps: s.Steps[:min(len(s.Steps), reach)], found: &Levels{}}
	if len(m.steps) == 0 {
		return m.found, nil
	}
	if err := m.supply(); err != nil {
		return nil, err
	}
	visits := m.visits()
	for _, step := range slices.Sorted(maps.Keys(visits)) {
		for _, v := range visits[step] {
			if err := v.measure(step); err != nil {
				return nil, err
			}
		}
	}
	m.found.Family = familyCheck(t, m.found.Readings)
	for _, p := range t.Variant.Pins {
		if p.Schmitt {
			m.found.Unmeasured = append(m.found.Unmeasured,
				fmt.Sprintf("thresholds of pin %d (%s): the rails give no voltages between them", p.Number, p.Name))
		}
	}
	slices.SortStableFunc(m.found.Readings, func(a, b Reading) int { return a.Pin - b.Pin })
	return m.found, nil
}

// A visit is one measurement to be made at a step.
type visit struct{ measure func(step int) error }

// visits finds for each state of each pin the step at which it is measured.
func (m *levelWalk) visits() map[int][]visit {
	at := map[int][]visit{}
	plan := func(pin *part.Pin, what string, shows func(stimulus.Step) bool, measure func(pin *part.Pin, step int) error) {
		best, fewest := -1, math.MaxInt
		for i, st := range m.steps {
			if lows := m.lows(pin.Number, st); lows < fewest && shows(st) {
				best, fewest = i, lows
			}
		}
		if best < 0 {
			m.found.Unmeasured = append(m.found.Unmeasured, fmt.Sprintf("%s of pin %d (%s): no step shows it", what, pin.Number, pin.Name))
			return
		}
		at[best] = append(at[best], visit{func(step int) error { return measure(pin, step) }})
	}
	for i := range m.t.Variant.Pins {
		pin := &m.t.Variant.Pins[i]
		shows := func(v logic.Value) func(stimulus.Step) bool {
			return func(st stimulus.Step) bool {
				got, compared := st.Expect(pin.Number)
				return compared && got == v
			}
		}
		driven := func(high bool) func(stimulus.Step) bool {
			return func(st stimulus.Step) bool { return st.Driven.Has(pin.Number) && st.Drive.Has(pin.Number) == high }
		}
		if pin.Observable() && pin.Untested == "" {
			if pin.Stage != part.OpenEmitter {
				plan(pin, "VOL", shows(logic.Zero), m.outputLow)
			}
			if pin.Stage != part.OpenCollector {
				plan(pin, "VOH", shows(logic.One), m.outputHigh)
			}
			if pin.Stage == part.OpenCollector || pin.Stage == part.ThreeState || pin.Stage == part.OpenEmitter {
				plan(pin, "leakage", shows(logic.Z), m.released)
			}
		}
		if pin.Role == part.Input && pin.Untested == "" && pin.Tied == part.NotTied {
			plan(pin, "IIL", driven(false), m.inputLow)
			plan(pin, "IIH", driven(true), m.inputHigh)
		}
	}
	return at
}

// lows counts the other inputs of a pin's gate that are low in a step: they
// share the current that the data sheet gives for one.
func (m *levelWalk) lows(pin int, st stimulus.Step) int {
	others := ^part.Pins(0)
	for _, g := range m.t.Variant.Gates {
		if slices.Contains(g.Pins, pin) {
			others = part.PinSet(g.Pins...)
		}
	}
	return (others & st.Driven &^ st.Drive).With(pin, false).Len()
}

// at brings the chip to a step of the sequence, releases some pins that the step
// drives, and measures.
func (m *levelWalk) at(step int, release part.Pins, bias, load adapter.Rail) ([adapter.Positions + 1]float64, error) {
	steps := m.steps[min(m.applied, step):step]
	last := m.steps[step]
	// The last step again without change, so that no released pin moves before its time.
	steps = append(slices.Clone(steps), last, stimulus.Step{Driven: last.Driven &^ release, Drive: last.Drive &^ release})
	m.applied = step
	return m.meter.Volts(m.ctx, steps, bias, load)
}

func (m *levelWalk) read(pin *part.Pin, r Reading) error {
	if math.IsNaN(r.Value) {
		m.found.Unmeasured = append(m.found.Unmeasured,
			fmt.Sprintf("%s of pin %d (%s): its position has no measuring line", r.Quantity, pin.Number, pin.Name))
		return nil
	}
	r.Pin = pin.Number
	m.found.Readings = append(m.found.Readings, r)
	return nil
}

// outputs are the DC limits of a pin's output class.
func (m *levelWalk) outputs(pin *part.Pin) part.OutputLimits { return m.t.Family.Output[pin.Drive] }

func (m *levelWalk) outputLow(pin *part.Pin, step int) error {
	o := m.outputs(pin)
	l := loadFor(railVolts-o.VOL, o.IOL)
	bias, load := l.rails(adapter.High)
	volts, err := m.at(step, 0, bias, load)
	if err != nil {
		return err
	}
	v := volts[pin.Number]
	return m.read(pin, Reading{Quantity: VOL, Value: v, Limit: o.VOL, RatedMA: o.IOL,
		LoadMA: (railVolts - v) / l.ohms * 1000, Uncertainty: converterVolts + rails1Percent*v})
}

func (m *levelWalk) outputHigh(pin *part.Pin, step int) error {
	o := m.outputs(pin)
	l := loadFor(o.VOH, o.IOH)
	bias, load := l.rails(adapter.Low)
	volts, err := m.at(step, 0, bias, load)
	if err != nil {
		return err
	}
	v := volts[pin.Number]
	return m.read(pin, Reading{Quantity: VOH, Value: v, Limit: o.VOH, RatedMA: o.IOH,
		LoadMA: v / l.ohms * 1000, Uncertainty: converterVolts + rails1Percent*max(0, railVolts-v)})
}

// released measures what a released output passes, either way, through the bias resistor.
func (m *levelWalk) released(pin *part.Pin, step int) error {
	worst := 0.0
	for _, c := range []struct {
		rail adapter.Rail
		at   float64
	}{{adapter.High, railVolts}, {adapter.Low, 0}} {
		volts, err := m.at(step, 0, c.rail, adapter.Off)
		if err != nil {
			return err
		}
		if i := math.Abs(volts[pin.Number]-c.at) / biasOhms * 1000; !(i <= worst) {
			worst = i
		}
	}
	limit := 0.02 // mA, IOZ of the bipolar families with diode inputs, from memory
	switch {
	case pin.Stage == part.OpenCollector && m.t.Family.Technology.Bipolar():
		limit = 0.25 // mA, IOH of open collectors, from memory
	case m.t.Family.Technology == part.TTL:
		limit = 0.04 // mA, from memory
	}
	return m.read(pin, Reading{Quantity: IOZ, Value: worst, Limit: limit, Uncertainty: current(worst, biasOhms, rails1Percent)})
}

// current is the uncertainty of a current, mA, that was measured across a resistor.
func current(mA, ohms, tolerance float64) float64 { return mA*tolerance + converterVolts/ohms*1000 }

// inputLow measures IIL: a standard TTL input is driven low, for the load resistor
// would not hold it; the others are held by that.
func (m *levelWalk) inputLow(pin *part.Pin, step int) error {
	release, load, ohms, tolerance := part.PinSet(pin.Number), adapter.Low, float64(loadOhms), rails1Percent
	if m.t.Family.Technology == part.TTL {
		release, load, ohms, tolerance = 0, adapter.Off, driveOhms, driveTolerance
	}
	volts, err := m.at(step, release, adapter.Off, load)
	if err != nil {
		return err
	}
	i := volts[pin.Number] / ohms * 1000
	return m.read(pin, Reading{Quantity: IIL, Value: i, Limit: m.t.Family.IIL * pin.LoadIn(m.t.Family), Uncertainty: current(i, ohms, tolerance)})
}

// inputHigh measures IIH with the input held by the bias resistor, and the level
// that a bipolar input floats to.
func (m *levelWalk) inputHigh(pin *part.Pin, step int) error {
	release := part.PinSet(pin.Number)
	volts, err := m.at(step, release, adapter.High, adapter.Off)
	if err != nil {
		return err
	}
	i := (railVolts - volts[pin.Number]) / biasOhms * 1000
	if err := m.read(pin, Reading{Quantity: IIH, Value: i, Limit: m.t.Family.IIH * pin.LoadIn(m.t.Family), Uncertainty: current(i, biasOhms, rails1Percent)}); err != nil || math.IsNaN(i) || !m.t.Family.Technology.Bipolar() {
		return err
	}
	if volts, err = m.at(step, release, adapter.Off, adapter.Off); err != nil {
		return err
	}
	return m.read(pin, Reading{Quantity: Open, Value: volts[pin.Number], Limit: math.NaN(), Uncertainty: converterVolts})
}

// mostICC, mA, is the largest supply current of small parts: gates, buffers and
// inverters in packages of at most 16 pins. Data books' quad and hex gates, from memory.
var mostICC = map[string]float64{
	"74": 54, "74H": 58, "74L": 4, "74S": 60, "74LS": 13, "74ALS": 10, "74AS": 30, "74F": 30,
	"74HC": 0.08, "74HCT": 0.08, "74C": 0.08, "4000B": 0.08, "4000UB": 0.08,
}

// supply measures the current at the first step, the rails off: nothing loads an
// output, and every input is driven.
func (m *levelWalk) supply() error {
	if _, err := m.at(0, 0, adapter.Off, adapter.Off); err != nil {
		return err
	}
	mA, err := m.meter.Current(m.ctx)
	if err != nil {
		return err
	}
	small := slices.Contains([]string{"gate", "buffer", "inverter", "schmitt"}, m.t.Part().Kind) && len(m.t.Variant.Pins) <= 16
	r := Reading{Quantity: ICC, Value: mA, Limit: math.NaN(), Uncertainty: 0.02 + rails1Percent*mA}
	switch {
	case mA < 0:
		m.found.Unmeasured = append(m.found.Unmeasured, "supply current: the adapter has no monitor")
		return nil
	case small:
		r.Limit = mostICC[m.t.Family.Name]
	default:
		m.found.Unmeasured = append(m.found.Unmeasured, "supply current against a limit: none is known for the part")
	}
	m.found.Readings = append(m.found.Readings, r)
	return nil
}

// A Margin is an input that the adapter may not drive to a valid low, by the data
// sheet's worst case: IIL through its drive resistance.
type Margin struct {
	Pin   int
	Volts float64 // V, at most
	VIL   float64 // V
}

// typicalShare is what a typical input draws of its largest IIL.
const typicalShare = 0.6

// roomVIL, V, is what an input takes for low at room temperature; VIL is promised over all temperatures.
const roomVIL = 1.0

// hopeless tells whether even a typical chip's input cannot be driven low.
func (m Margin) hopeless() bool { return typicalShare*m.Volts > roomVIL }

func (m Margin) String() string {
	return fmt.Sprintf("pin %d: driven low it may stand as high as %.2f V, over VIL of %.1f V", m.Pin, m.Volts, m.VIL)
}

// Margins gives the inputs of a type whose worst case the adapter cannot drive low.
func Margins(t part.Type) (short []Margin) {
	for _, p := range t.Variant.Pins {
		if v := t.Family.IIL * p.LoadIn(t.Family) / 1000 * driveOhms; p.Drivable() && v > t.Family.VIL {
			short = append(short, Margin{p.Number, v, t.Family.VIL})
		}
	}
	return short
}
