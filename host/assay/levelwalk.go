package assay

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A station is where the walk through a sequence stops to measure: the chip
// stands in the state after a step, the pins that are measured under a bias and a load
// of the station's own, perhaps with a pin let go that the step drives. Where there is a
// load, all other pins have theirs at the level at which they stand: it takes nothing.
type station struct {
	late       bool // in the second round, for it may lose the chip's state
	step       int
	release    part.Pins
	bias, load adapter.Pull
	current    bool // the supply current is wanted
}

// compare orders stations as the walk passes them.
func (s station) compare(t station) int {
	return cmp.Or(first(t.late, s.late), s.step-t.step, first(s.current, t.current),
		cmp.Compare(s.release, t.release), s.bias.Compare(t.bias), s.load.Compare(t.load))
}

// first compares two stations by what only one of them may be: that one is first.
func first(s, t bool) int {
	switch {
	case s == t:
		return 0
	case s:
		return -1
	}
	return 1
}

// A levelWalk measures one chip in the states of its sequence: it first plans
// the stations, then passes them all, then reads what each pin showed.
type levelWalk struct {
	ctx   context.Context
	meter LevelMeter
	t     part.Type
	steps []stimulus.Step
	jumps bool // any step may be reached at once: the part keeps no state
	k     adapter.Constants

	loads     bool    // the load resistors are fitted
	chipVolts float64 // V between the chip's supply pins; 0 where that was not measured
	wanted    map[station]part.Pins
	measured  map[station]adapter.Measured
	answers   []func() // read what was measured
	found     *Levels
}

// reach bounds how far into the sequence states are looked for, steps.
const reach = 4096

// MeasureLevels measures the powered chip in states that its sequence passes through.
func MeasureLevels(ctx context.Context, meter LevelMeter, p Plan) (*Levels, error) {
	m := walkOf(ctx, meter, p)
	if len(m.steps) == 0 {
		return m.found, nil
	}
	var err error
	if m.k, err = constantsOf(ctx, meter); err != nil {
		return nil, err
	}
	if volts, err := meter.SupplyVolts(ctx); err != nil {
		return nil, err
	} else if !math.IsNaN(volts) {
		m.chipVolts = volts
	}
	m.supply()
	for i := range m.t.Variant.Pins {
		m.plan(&m.t.Variant.Pins[i])
	}
	if err := m.pass(); err != nil {
		return nil, err
	}
	for _, answer := range m.answers {
		answer()
	}
	if m.found.Unloaded {
		m.found.Unmeasured = append(m.found.Unmeasured, withoutLoads)
	}
	m.found.Family = familyCheck(m.t, m.found.Readings)
	for _, p := range m.t.Variant.Pins {
		if p.Schmitt {
			m.found.Unmeasured = append(m.found.Unmeasured,
				fmt.Sprintf("thresholds of pin %d (%s): the rails give no voltages between them", p.Number, p.Name))
		}
	}
	slices.SortStableFunc(m.found.Readings, func(a, b Reading) int { return a.Pin - b.Pin })
	return m.found, nil
}

// withoutLoads is what an adapter without its load resistors cannot do.
const withoutLoads = "levels under load: the adapter's load resistors are not fitted, so the bias of 10 kΩ is all that loads an output"

// turns tells whether pins of a part turn round.
func turns(v *part.Variant) bool {
	return slices.ContainsFunc(v.Pins, func(p part.Pin) bool { return p.Role == part.Bidirectional })
}

// What a station waits and averages, and what a step on the way there waits.
const (
	stationSettle    = 50 * time.Microsecond
	stationAveraging = 3 // 2^3 conversions
	waySettle        = adapter.DefaultSettle
	shortWay         = 40 // steps that go with the stations; more are applied apart
)

// pass passes all stations, with as few requests as may be.
func (m *levelWalk) pass() error {
	var request []adapter.MeasureStep
	places := map[station]int{} // in the request
	send := func() error {
		measured, err := m.meter.Measure(m.ctx, request)
		for s, i := range places {
			if i < len(measured) {
				m.measured[s] = measured[i]
			}
		}
		request = nil
		clear(places)
		return err
	}
	next, late := 0, false // step to be applied next
	for _, s := range slices.SortedFunc(maps.Keys(m.wanted), station.compare) {
		if s.late && !late {
			next, late = 0, true
		}
		if m.jumps {
			next = s.step
		}
		way := m.steps[min(next, s.step):s.step]
		next = s.step
		if len(way) > shortWay {
			if err := send(); err != nil {
				return err
			}
			if _, err := m.meter.ApplyPulls(m.ctx, way, adapter.Off, adapter.Off); err != nil {
				return err
			}
			way = nil
		}
		for _, step := range way {
			request = append(request, station{}.under(step, waySettle)) // no rail lifts an input on the way
		}
		if !m.jumps {
			request = append(request, station{}.under(m.steps[s.step], waySettle))
		}
		visit, place := m.visit(s)
		places[s] = len(request) + place
		request = append(request, visit...)
	}
	return send()
}

// under is a step under a station's bias and load.
func (s station) under(step stimulus.Step, settle time.Duration) adapter.MeasureStep {
	return adapter.MeasureStep{Step: step, Bias: s.bias, Load: s.load, Settle: settle}
}

// loading gives what the load resistors do at a station.
func (m *levelWalk) loading(s station) adapter.Pull {
	if !s.load.On {
		return adapter.Off
	}
	there := m.steps[s.step]
	own := there.Drive | there.High
	for _, p := range m.t.Variant.Pins {
		if p.PullUp && !(there.Driven | there.Compared).Has(p.Number) {
			own = own.With(p.Number, true) // it is high by the resistor inside
		}
	}
	return adapter.PullUp(own&^m.wanted[s] | s.load.Up&m.wanted[s])
}

// visit is the steps at a station and the place of the one that measures. A pin
// that is let go is held by its driver before and after, while the rails change,
// so that no clock sees an edge.
func (m *levelWalk) visit(s station) (steps []adapter.MeasureStep, place int) {
	there := m.steps[s.step]
	pins := m.wanted[s]
	s.load = m.loading(s)
	measuring := s.under(stimulus.Step{Driven: there.Driven &^ s.release, Drive: there.Drive &^ s.release}, stationSettle)
	measuring.Pins, measuring.Averaging = pins, stationAveraging
	if pins != 0 {
		measuring.Pins = pins.With(m.t.Variant.GND(), true) // levels are referred to it
	}
	if s.current {
		measuring.Settle = adapter.CurrentSettle
	}
	if s.release == 0 {
		return []adapter.MeasureStep{measuring}, 0
	}
	driven := s.under(there, waySettle)
	return []adapter.MeasureStep{driven, measuring, driven}, 1
}

// ask wants a pin's voltage at a station.
func (m *levelWalk) ask(s station, pin *part.Pin) {
	m.wanted[s] = m.wanted[s].With(pin.Number, true)
}

// volts is what a pin showed at a station, V to the adapter's ground; NaN where it was
// not measured.
func (m *levelWalk) volts(s station, pin *part.Pin) float64 { return m.measured[s].Volts[pin.Number] }

// lift is how far the chip's own ground stood above the adapter's, V; 0 where its
// pin is not measured.
func (m *levelWalk) lift(s station) float64 {
	if v := m.measured[s].Volts[m.t.Variant.GND()]; !math.IsNaN(v) {
		return v
	}
	return 0
}

// plan plans what is measured at a pin.
func (m *levelWalk) plan(pin *part.Pin) {
	if pin.Untested != "" {
		return
	}
	shows := func(v logic.Value) func(stimulus.Step) bool {
		return func(st stimulus.Step) bool {
			got, compared := st.Expect(pin.Number)
			return compared && got == v
		}
	}
	driven := func(high bool) func(stimulus.Step) bool {
		return func(st stimulus.Step) bool { return st.Driven.Has(pin.Number) && st.Drive.Has(pin.Number) == high }
	}
	if pin.Observable() {
		if pin.Stage != part.OpenEmitter {
			m.at(pin, "VOL", shows(logic.Zero), m.outputLow)
		}
		if pin.Stage != part.OpenCollector {
			m.at(pin, "VOH", shows(logic.One), m.outputHigh)
		}
		if pin.Stage == part.OpenCollector || pin.Stage == part.ThreeState || pin.Stage == part.OpenEmitter {
			m.at(pin, "leakage", shows(logic.Z), m.released)
		}
	}
	if pin.Role == part.Input && pin.Tied == part.NotTied {
		m.at(pin, "IIL", driven(false), m.inputLow)
		m.at(pin, "IIH", driven(true), m.inputHigh)
	}
}

// at finds the step at which a pin is measured: one that shows it, with the
// fewest other inputs of its gate low.
func (m *levelWalk) at(pin *part.Pin, what string, shows func(stimulus.Step) bool, measure func(pin *part.Pin, step int)) {
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
	measure(pin, best)
}

// lows counts the other inputs of a pin's gate that are low in a step: they
// share the current that the data sheet gives for one.
func (m *levelWalk) lows(pin int, st stimulus.Step) int {
	return (m.gateMates(pin) & st.Driven &^ st.Drive).With(pin, false).Len()
}

// gateMates are the pins of the gate that a pin belongs to; all where it belongs to none.
func (m *levelWalk) gateMates(pin int) part.Pins {
	for _, g := range m.t.Variant.Gates {
		if slices.Contains(g.Pins, pin) {
			return part.PinSet(g.Pins...)
		}
	}
	return ^part.Pins(0)
}

// read keeps a reading, or says that there is none.
func (m *levelWalk) read(pin *part.Pin, r Reading) {
	if math.IsNaN(r.Value) {
		m.found.Unmeasured = append(m.found.Unmeasured,
			fmt.Sprintf("%s of pin %d (%s): its position has no measuring line", r.Quantity, pin.Number, pin.Name))
		return
	}
	r.Pin = pin.Number
	m.found.Readings = append(m.found.Readings, r)
}

func (m *levelWalk) answer(read func()) { m.answers = append(m.answers, read) }
