package levels

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
// of the station's own, perhaps with a pin released that the step drives. Where there is a
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

// A walk measures one chip in the states of its sequence: it first plans
// the stations, then passes them all, then reads what each pin showed.
type walk struct {
	Reader
	ctx   context.Context
	meter Meter
	steps []stimulus.Step
	jumps bool // any step may be reached at once: the part keeps no state

	wanted   map[station]part.Pins
	measured map[station]adapter.Measured
	answers  []func() // read what was measured
}

// walkOf is a walk through a type's steps, with nothing planned yet.
func walkOf(ctx context.Context, meter Meter, t part.Type, steps []stimulus.Step) (walk, error) {
	r, err := NewReader(ctx, meter, t)
	return walk{
		Reader: r, ctx: ctx, meter: meter, steps: steps[:min(len(steps), Reach)],
		jumps:  len(t.Variant.Logic.Registers) == 0 && !turns(t.Variant),
		wanted: map[station]part.Pins{}, measured: map[station]adapter.Measured{},
	}, err
}

// Reach bounds how far into the sequence states are looked for, steps.
const Reach = 4096

// Measure measures the powered chip in states that its steps pass through.
func Measure(ctx context.Context, meter Meter, t part.Type, steps []stimulus.Step) (*Levels, error) {
	m, err := walkOf(ctx, meter, t, steps)
	switch {
	case err != nil:
		return nil, err
	case len(m.steps) == 0:
		return m.Levels, nil
	}
	if volts, err := meter.SupplyVolts(ctx); err != nil {
		return nil, err
	} else if !math.IsNaN(volts) {
		m.chipVolts = volts
	}
	m.supply()
	for i := range m.Type.Variant.Pins {
		m.plan(&m.Type.Variant.Pins[i])
	}
	if err := m.pass(); err != nil {
		return nil, err
	}
	for _, answer := range m.answers {
		answer()
	}
	if m.Unloaded {
		m.Unmeasured = append(m.Unmeasured, withoutLoads)
	}
	m.Family = familyCheck(m.Type, m.Readings)
	for _, p := range m.Type.Variant.Pins {
		if p.Schmitt {
			m.Unmeasured = append(m.Unmeasured,
				fmt.Sprintf("thresholds of %v: they need a capacitor at the input", &p))
		}
	}
	slices.SortStableFunc(m.Readings, func(a, b Reading) int { return a.Pin - b.Pin })
	return m.Levels, nil
}

// withoutLoads is what an adapter without its load resistors cannot do.
const withoutLoads = "levels under load: the adapter's load resistors are not fitted, so only the 10 kΩ bias loads an output"

// turns reports whether pins of a part turn round.
func turns(v *part.Variant) bool {
	return slices.ContainsFunc(v.Pins, func(p part.Pin) bool { return p.Role == part.Bidirectional })
}

// What a station waits and averages, and what a step on the way there waits.
const (
	Settle    = 50 * time.Microsecond
	Averaging = 3 // 2^3 conversions
	WaySettle = adapter.DefaultSettle
	shortWay  = 40 // steps that go with the stations; more are applied apart
)

// pass passes all stations, with as few requests as may be.
func (m *walk) pass() error {
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
			request = append(request, station{}.under(step, WaySettle)) // no rail lifts an input on the way
		}
		if !m.jumps {
			request = append(request, station{}.under(m.steps[s.step], WaySettle))
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
func (m *walk) loading(s station) adapter.Pull {
	if !s.load.On {
		return adapter.Off
	}
	there := m.steps[s.step]
	own := there.Drive | there.High
	for _, p := range m.Type.Variant.Pins {
		if p.PullUp && !(there.Driven | there.Compared).Has(p.Number) {
			own = own.With(p.Number, true) // it is high by the resistor inside
		}
	}
	return adapter.PullUp(own&^m.wanted[s] | s.load.Up&m.wanted[s])
}

// visit is the steps at a station and the place of the one that measures. A pin
// that is released is held by its driver before and after, while the rails change,
// so that no clock sees an edge.
func (m *walk) visit(s station) (steps []adapter.MeasureStep, place int) {
	there := m.steps[s.step]
	pins := m.wanted[s]
	s.load = m.loading(s)
	measuring := s.under(stimulus.Step{Driven: there.Driven &^ s.release, Drive: there.Drive &^ s.release}, Settle)
	measuring.Pins, measuring.Averaging = pins, Averaging
	if pins != 0 {
		measuring.Pins = pins.With(m.Type.Variant.GND(), true) // levels are referred to it
	}
	if s.current {
		measuring.Settle = adapter.CurrentSettle
	}
	if s.release == 0 {
		return []adapter.MeasureStep{measuring}, 0
	}
	driven := s.under(there, WaySettle)
	return []adapter.MeasureStep{driven, measuring, driven}, 1
}

// ask wants a pin's voltage at a station.
func (m *walk) ask(s station, pin *part.Pin) {
	m.wanted[s] = m.wanted[s].With(pin.Number, true)
}

// volts is what a pin showed at a station, V to the adapter's ground; NaN where it was
// not measured.
func (m *walk) volts(s station, pin *part.Pin) float64 { return m.measured[s].Volts[pin.Number] }

// lift is how far the chip's own ground stood above the adapter's, V; 0 where its
// pin is not measured.
func (m *walk) lift(s station) float64 {
	if v := m.measured[s].Volts[m.Type.Variant.GND()]; !math.IsNaN(v) {
		return v
	}
	return 0
}

// plan plans what is measured at a pin.
func (m *walk) plan(pin *part.Pin) {
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
		m.at(pin, "IIL", driven(false), m.low)
		m.at(pin, "IIH", driven(true), m.high)
	}
	if pin.Opposite != 0 {
		m.alone(pin)
	}
}

// alone drives an input of a balanced line to either level with the opposite one released,
// which the bias then holds between them, and looks at the receiver's output. The resistance
// of such an input, 6 to 20 kΩ to some level of up to 3 V, leaves it at 1.5 V or more above
// ground and below the supply (EIA-422 receivers' data sheets, from memory).
func (m *walk) alone(pin *part.Pin) {
	var stations []station
	var shown []*part.Pin
	for _, high := range []bool{false, true} {
		found := false
		for i, st := range m.steps {
			if st.Driven.Has(pin.Number) && st.Drive.Has(pin.Number) == high && st.Drive.Has(pin.Opposite) != high {
				if out := m.receiverOutput(pin, st); out != nil {
					s := station{step: i, release: part.PinSet(pin.Opposite), bias: adapter.High}
					m.ask(s, out)
					stations, shown, found = append(stations, s), append(shown, out), true
					break
				}
			}
		}
		if !found {
			return
		}
	}
	m.answer(func() {
		follows := true
		for i, s := range stations {
			v := m.volts(s, shown[i]) - m.lift(s)
			want, _ := m.steps[s.step].Expect(shown[i].Number)
			follows = follows && (want == logic.One) == (v >= m.Type.Family.VIH) && (want == logic.Zero) == (v <= m.Type.Family.VIL)
		}
		m.Alone = m.Alone.With(pin.Number, true)
		m.Dead = m.Dead.With(pin.Number, !follows)
	})
}

// receiverOutput is an output of an input's gate that a step shows high or low.
func (m *walk) receiverOutput(pin *part.Pin, st stimulus.Step) *part.Pin {
	for n := range m.Type.Variant.GateMates(pin.Number).All() {
		if n > len(m.Type.Variant.Pins) {
			break
		}
		if v, compared := st.Expect(n); compared && (v == logic.Zero || v == logic.One) {
			return &m.Type.Variant.Pins[n-1]
		}
	}
	return nil
}

// at finds the step at which a pin is measured: one that shows it, with the
// fewest other inputs of its gate low.
func (m *walk) at(pin *part.Pin, what string, shows func(stimulus.Step) bool, measure func(pin *part.Pin, step int)) {
	best, fewest := -1, math.MaxInt
	for i, st := range m.steps {
		if lows := m.lows(pin.Number, st); lows < fewest && shows(st) {
			best, fewest = i, lows
		}
	}
	if best < 0 {
		m.Unmeasured = append(m.Unmeasured, fmt.Sprintf("%s of %v: no step shows it", what, pin))
		return
	}
	measure(pin, best)
}

// lows counts the other inputs of a pin's gate that are low in a step: they
// share the current that the data sheet gives for one.
func (m *walk) lows(pin int, st stimulus.Step) int {
	return (m.Type.Variant.GateMates(pin) & st.Driven &^ st.Drive).With(pin, false).Len()
}

func (m *walk) answer(read func()) { m.answers = append(m.answers, read) }

// A Point is a pin's voltage after a step, under a bias.
type Point struct {
	Step, Pin int
	Bias      adapter.Pull
}

// Volts measures the voltages, V, of the powered chip at points within Reach of its steps;
// rail is what the adapter's own was, V.
func Volts(ctx context.Context, meter Meter, t part.Type, steps []stimulus.Step, points []Point) (volts map[Point]float64, rail float64, err error) {
	m, err := walkOf(ctx, meter, t, steps)
	if err != nil {
		return nil, 0, err
	}
	for _, p := range points {
		m.ask(station{step: p.Step, bias: p.Bias}, &t.Variant.Pins[p.Pin-1])
	}
	err = m.pass()
	volts = map[Point]float64{}
	for _, p := range points {
		volts[p] = m.measured[station{step: p.Step, bias: p.Bias}].Volts[p.Pin]
	}
	return volts, m.K.SupplyVolts, err
}
