package explore

import (
	"context"
	"math"
	"slices"
	"time"

	"chipassay/host/adapter"
	"chipassay/host/assay/levels"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// What the steps of a look wait and average. The first waits for the current monitor, and
// for an open TTL input to come down from the bias of the look before: 50 pF from 5 V by
// 1 µA take 0.2 ms. A position with a low-side switch settles from its bias in 40 µs.
const (
	freeSettle = adapter.CurrentSettle
	settle     = 50 * time.Microsecond
	averaging  = 2 // 2^2 conversions
)

// A driven pin beyond these, V, is held the other way. No TTL input is above 1.5 when driven
// low, and none below 3.5 when driven high; an output that opposes 145 Ω makes it
// 1.9 or more, and 2.4 or less (design values, solved in ngspice; from memory).
const (
	fightsLow  = 1.7
	fightsHigh = 3.0
)

// A view is the readings of one look: by the drives alone, with the outputs pulled up and
// pulled down, under the load resistors, and with the loose pins turned to the other
// level. The last two may be missing.
type view struct {
	free, up, down adapter.Measured
	loaded, turned *adapter.Measured
}

// enter goes from a stance to other drives, and looks. A pin that is held the other way is
// released and its level is unknown from then on; so is a low above VIL. The good chip is
// then taken from the previous stance again, so that neither is held against the chip.
func (s *Session) enter(ctx context.Context, before stance, drives [part.MaxPins + 1]Drive) error {
	var notes []string
	unknown := part.Pins(0)
	for pin := range before.unknown.All() { // it stays so until it is set
		unknown = unknown.With(pin, drives[pin] == Open)
	}
	for range len(s.Type.Variant.Pins) { // each time a pin more is unknown
		s.now = before.clone()
		s.now.drives, s.now.unknown = drives, unknown
		s.settle(s.now)
		v, err := s.view(ctx)
		if err != nil {
			s.on = false // the adapter has switched off
			return err
		}
		fighting := s.fighting(v)
		doubted := (fighting | s.overVIL(v)) &^ unknown
		if doubted == 0 {
			s.state = s.read(v)
			s.state.Notes = slices.Concat(s.cautions, notes, s.notes())
			return nil
		}
		for pin := range fighting.All() {
			notes = append(notes, s.fightWords(pin, v))
			drives[pin] = Open
		}
		unknown |= doubted
		s.helped = s.helped || s.overVIL(v) != 0 && s.mayHelp()
	}
	return nil
}

// overVIL are the pins that are driven low and stay above VIL: heavy inputs.
func (s *Session) overVIL(v view) (pins part.Pins) {
	for _, p := range s.Type.Variant.Pins {
		pins = pins.With(p.Number, s.now.drives[p.Number] == Low && s.volts(v.free, p.Number) > s.Type.Family.VIL)
	}
	return pins
}

// driven gives the step that drives the pins.
func (s *Session) driven() (st stimulus.Step) {
	for _, p := range s.Type.Variant.Pins {
		d := s.now.drives[p.Number]
		st.Driven = st.Driven.With(p.Number, d != Open)
		st.Drive = st.Drive.With(p.Number, d == High)
	}
	return st
}

// loose are the pins that the chip reads and nobody drives.
func (s *Session) loose() (pins part.Pins) {
	for _, p := range s.Type.Variant.Pins {
		reads := p.Role == part.Input || p.Role == part.Bidirectional && releases(s.now, p.Number)
		pins = pins.With(p.Number, reads && s.now.drives[p.Number] == Open)
	}
	return pins
}

// pullUps are the pins with a resistor to the supply inside.
func (s *Session) pullUps() (pins part.Pins) {
	for _, p := range s.Type.Variant.Pins {
		pins = pins.With(p.Number, p.PullUp)
	}
	return pins
}

func (s *Session) mos() bool { return !s.Type.Family.Technology.Bipolar() }

// view takes the readings of a look. While the outputs are pulled, loose TTL inputs are
// held high, which is what they count as, and loose MOS inputs low, so that neither
// clocks the chip. Then those that are not clocks are inverted: MOS inputs to show which
// outputs follow them, and bidirectional pins to prove that they are released.
func (s *Session) view(ctx context.Context) (view, error) {
	all := part.Pins(1)<<len(s.Type.Variant.Pins) - 1
	loose := s.loose()
	held, turned, rest := loose, loose&s.bidirectionals(), adapter.Off
	if s.mos() {
		held = loose & s.pullUps()
		turned = loose &^ held
		if loose != 0 {
			rest = adapter.PullUp(held)
		}
	}
	turned &^= s.rules.Sensitive()
	step := func(bias, load adapter.Pull, settle time.Duration, pins part.Pins) adapter.MeasureStep {
		return adapter.MeasureStep{Step: s.driven(), Bias: bias, Load: load, Settle: settle, Pins: pins, Averaging: averaging}
	}
	helping := adapter.Off
	if s.helped {
		helping = adapter.PullUp(levels.Holdable(s.Type) | s.driven().Drive | held)
	}
	var steps []adapter.MeasureStep
	if s.resting.On { // what was loose is driven before its bias goes
		steps = append(steps, step(s.resting, helping, settle, 0))
	}
	s.resting = rest
	first := len(steps)
	steps = append(steps,
		step(rest, helping, freeSettle, all),
		step(adapter.PullUp(all&^loose|held), helping, settle, all),
		step(adapter.PullUp(held), helping, settle, all),
	)
	loads, turns := -1, -1
	if outputs := s.loadable(); outputs != 0 && !s.helped {
		loads = len(steps)
		steps = append(steps, step(adapter.Off, adapter.PullUp(outputs|s.driven().Drive|held), settle, all))
	}
	if turned != 0 {
		turns = len(steps)
		steps = append(steps, step(adapter.PullUp(held^turned), helping, settle, all))
	}
	steps = append(steps, step(rest, helping, settle, 0))
	seen, err := s.socket.Measure(ctx, steps)
	if err != nil {
		return view{}, err
	}
	v := view{free: seen[first], up: seen[first+1], down: seen[first+2]}
	if loads >= 0 {
		v.loaded = &seen[loads]
	}
	if turns >= 0 {
		v.turned = &seen[turns]
	}
	return v, nil
}

// loadable are the outputs that bear 1 kΩ to the supply, where that is fitted: bipolar
// ones that sink 5 mA. CMOS of the 4000 series is never loaded so.
func (s *Session) loadable() (outputs part.Pins) {
	const loadMA = 5
	if !s.socket.Can().Load || s.mos() {
		return 0
	}
	for _, p := range s.Type.Variant.Pins {
		bears := p.Observable() && s.Type.Family.Output[p.Drive].IOL >= loadMA
		outputs = outputs.With(p.Number, bears && s.now.drives[p.Number] == Open)
	}
	return outputs
}

// mayHelp reports whether load resistors can help to hold heavy inputs low: they are fitted,
// and the outputs can drive theirs, because all switch together (levels.HoldLows).
func (s *Session) mayHelp() bool { return s.socket.Can().Load && levels.Holdable(s.Type) != 0 }

// volts is a pin's voltage to the chip's own ground, V.
func (s *Session) volts(m adapter.Measured, pin int) float64 {
	if lift := m.Volts[s.Type.Variant.GND()]; !math.IsNaN(lift) {
		return m.Volts[pin] - lift
	}
	return m.Volts[pin]
}

// fighting are the driven pins that are held the other way.
func (s *Session) fighting(v view) (pins part.Pins) {
	for _, p := range s.Type.Variant.Pins {
		volts := v.free.Volts[p.Number]
		high := v.free.High.Has(p.Number)
		fights := false
		switch s.now.drives[p.Number] {
		case Low:
			fights = volts > fightsLow || math.IsNaN(volts) && high
		case High:
			fights = volts < fightsHigh || math.IsNaN(volts) && !high
		}
		pins = pins.With(p.Number, fights)
	}
	return pins
}

// limits are the levels, V, below and above which a pin is low and high. Those of CMOS
// follow its supply; the tables are for 5 V. An output of the A series may stand below its
// family's VIH, for the bias is more than its rated load.
func (s *Session) limits(v view) (low, high float64) {
	f := s.Type.Family
	low, high = f.VIL, f.VIH
	if f.Series4000() {
		high = min(high, f.Output[part.StandardDrive].VOH)
	}
	if supply := s.supply(v); f.Technology == part.CMOS && !math.IsNaN(supply) {
		low, high = low*supply/5, high*supply/5
	}
	return low, high
}

// supply is the chip's own, V; not a number where it is not measured.
func (s *Session) supply(v view) float64 { return s.volts(v.free, s.Type.Variant.VCC()) }

// read makes a state of a look.
func (s *Session) read(v view) State {
	state := State{Step: s.state.Step, Did: s.state.Did, SupplyVolts: s.supply(v), CurrentMA: v.free.CurrentMA}
	for _, p := range s.Type.Variant.Pins {
		if !p.Signal() && !p.Drivable() {
			continue
		}
		one := Pin{Number: p.Number, Name: p.Name, Drive: s.now.drives[p.Number], Takes: logic.X}
		one.Volts = s.volts(v.free, p.Number)
		expected := logic.X
		if p.Observable() {
			expected = s.now.good.Out(p.Number).Lane(0)
		}
		released := expected == logic.Z
		if released && p.PullUp { // its resistor holds it high
			expected = logic.One
		}
		one.Input = p.Role != part.Output && (p.Role != part.Bidirectional || one.Drive != Open || released)
		one.Seen = s.level(v, &p)
		if p.Observable() && one.Drive == Open {
			one.Expected, one.Compared = expected, expected != logic.X && p.Untested == ""
			one.Lamp = s.lamp(v, &p)
		}
		state.Pins = append(state.Pins, one)
	}
	for i := range state.Pins {
		if p := &state.Pins[i]; p.Input && p.Drive == Open {
			p.Takes = s.takes(&state, p.Number)
		}
	}
	return state
}

// level is the level of a pin.
func (s *Session) level(v view, p *part.Pin) Level {
	loose := s.loose().Has(p.Number) && !p.PullUp
	switch {
	case loose && (s.mos() || p.Role == part.Bidirectional):
		return s.looseLevel(v, p)
	case loose || !p.Observable() || s.now.drives[p.Number] != Open:
		return s.at(v, v.free, p)
	case s.mos() && v.turned != nil && s.now.good.Out(p.Number).Lane(0) == logic.X && s.at(v, *v.turned, p) != s.at(v, v.down, p):
		return Undefined
	}
	return s.pulled(v, v.up, v.down, p)
}

// at is the level of one reading.
func (s *Session) at(v view, m adapter.Measured, p *part.Pin) Level {
	low, high := s.limits(v)
	volts := s.volts(m, p.Number)
	switch {
	case math.IsNaN(volts) && m.High.Has(p.Number), volts >= high:
		return StandsHigh
	case math.IsNaN(volts), volts <= low:
		return StandsLow
	}
	return Between
}

// looseLevel is the level of a pin that is held at one level and then inverted. One that may
// clock the chip is not inverted.
func (s *Session) looseLevel(v view, p *part.Pin) Level {
	switch {
	case v.turned == nil || s.rules.Sensitive().Has(p.Number):
		return Undefined
	case s.mos():
		return s.pulled(v, *v.turned, v.down, p)
	}
	return s.pulled(v, v.up, *v.turned, p)
}

// pulled is the level of a pin by its readings pulled up and down. A released one follows
// both, as levels.FollowsUp says; one with an input beside it, or a resistor inside, goes
// down only as far as that lets it.
func (s *Session) pulled(v view, up, down adapter.Measured, p *part.Pin) Level {
	lowest := levels.FollowsDown
	if p.Role == part.Bidirectional || p.PullUp {
		lowest = fightsLow
	}
	high, low := up.Volts[p.Number], down.Volts[p.Number]
	follows := high >= levels.FollowsUp*s.constants.SupplyVolts && low <= lowest
	if math.IsNaN(high) || math.IsNaN(low) {
		follows = up.High.Has(p.Number) && !down.High.Has(p.Number)
	}
	switch {
	case follows:
		return Released
	case s.at(v, up, p) == s.at(v, down, p):
		return s.at(v, up, p)
	}
	return Between
}

// lamp is the lamp at an output, from its voltages under the pull-ups.
func (s *Session) lamp(v view, p *part.Pin) *Lamp {
	light := load{s.volts(v.up, p.Number), s.constants.BiasOhms, s.constants.SupplyVolts}
	heavy := light
	if v.loaded != nil && s.loadable().Has(p.Number) {
		heavy = load{s.volts(*v.loaded, p.Number), s.constants.LoadOhms, s.constants.SupplyVolts}
	}
	supply := s.supply(v)
	if math.IsNaN(supply) {
		supply = s.constants.SupplyVolts
	}
	return lampOf(s.Type.Family, p.Drive, supply, light, heavy)
}

// takes finds the level that an open input acts as: the one that explains the outputs
// where the other does not.
func (s *Session) takes(state *State, pin int) logic.Value {
	if s.rules.Sensitive().Has(pin) {
		return logic.X
	}
	explains := map[logic.Value]bool{}
	for _, level := range []logic.Value{logic.Zero, logic.One} {
		m := s.now.good.Clone()
		m.Set(pin, logic.Splat(level))
		m.Settle()
		explains[level] = true
		for i := range state.Pins {
			p := &state.Pins[i]
			v := m.Out(p.Number).Lane(0)
			if p.Drive == Open && s.Type.Variant.Pins[p.Number-1].Observable() && v != logic.X && v != p.Seen.value() {
				explains[level] = false
			}
		}
	}
	switch {
	case explains[logic.One] && !explains[logic.Zero]:
		return logic.One
	case explains[logic.Zero] && !explains[logic.One]:
		return logic.Zero
	}
	return logic.X
}
