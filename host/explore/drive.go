package explore

import (
	"context"
	"slices"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// A Change sets a pin.
type Change struct {
	Pin int
	To  Drive
}

// Set sets pins: in one step if their order does not matter; else data first, then clocks,
// sets, clears and enables one by one; else in the order given. If the error is an
// ErrRefused, nothing has changed.
func (s *Session) Set(ctx context.Context, changes ...Change) (State, error) {
	if !s.on {
		return s.state, refuse("the supply is off")
	}
	way, err := s.way(s.now, changes)
	if err != nil {
		return s.state, err
	}
	return s.pass(ctx, way)
}

// Toggle sets a pin to the next of L, H, open.
func (s *Session) Toggle(ctx context.Context, pin int) (State, error) {
	return s.Set(ctx, Change{pin, s.now.drives[pin].Next()})
}

// Drive gives what the adapter does at a pin.
func (s *Session) Drive(pin int) Drive { return s.now.drives[pin] }

// Pulse inverts a pin and restores it, in two steps.
func (s *Session) Pulse(ctx context.Context, pin int) (State, error) {
	name := s.Type.Variant.Pins[pin-1].Name
	there := map[Drive]Drive{Low: High, High: Low}
	level := s.now.drives[pin]
	switch {
	case !s.on:
		return s.state, refuse("the supply is off")
	case level == Open && s.Settable(pin):
		return s.state, refuse("%s is open: set it to L or H before you clock it", name)
	}
	way, err := s.way(s.now, []Change{{pin, there[level]}})
	if err != nil {
		return s.state, err
	}
	back, err := s.way(way[len(way)-1], []Change{{pin, level}})
	if err != nil {
		return s.state, err
	}
	return s.pass(ctx, slices.Concat(way, back))
}

// pass goes through stances and looks at the chip in each.
func (s *Session) pass(ctx context.Context, way []stance) (State, error) {
	s.state.Step++
	for _, st := range way {
		before := s.now
		if err := s.enter(ctx, before, st.drives); err != nil {
			return s.state, err
		}
		s.tick(before)
	}
	return s.state, nil
}

// way gives the stances that lead to pins being set.
func (s *Session) way(from stance, changes []Change) ([]stance, error) {
	for _, c := range changes {
		if err := s.settable(c); err != nil {
			return nil, err
		}
	}
	sensitive := func(c Change) bool { return s.rules.Sensitive().Has(c.Pin) }
	orders := [][][]Change{{changes}, nil, nil}
	if data := slices.DeleteFunc(slices.Clone(changes), sensitive); len(data) > 0 {
		orders[1] = append(orders[1], data)
	}
	for _, c := range changes {
		if sensitive(c) {
			orders[1] = append(orders[1], []Change{c})
		}
		orders[2] = append(orders[2], []Change{c})
	}
	var way []stance
	var err error
	for _, order := range orders {
		if way, err = s.through(from, order); err == nil {
			break
		}
	}
	return way, err
}

// settable refuses a pin that must never be set.
func (s *Session) settable(c Change) error {
	p := &s.Type.Variant.Pins[c.Pin-1]
	switch {
	case p.Role == part.Output:
		return refuse("%s is an output: outputs are never driven", p.Name)
	case !p.Drivable():
		return refuse("%s is no input: %v", p.Name, p.Role)
	case p.Tied != part.NotTied:
		return refuse("%s is held %s throughout, as the definition asks", p.Name, [...]string{"", "low", "high"}[p.Tied])
	case p.Untested != "":
		return refuse("%s is held low: %s", p.Name, p.Untested)
	}
	return nil
}

// through gives the stances of some steps, each with its changes.
func (s *Session) through(from stance, steps [][]Change) (way []stance, err error) {
	for _, changes := range steps {
		some, err := s.move(from, changes)
		if err != nil {
			return nil, err
		}
		way = append(way, some...)
		from = way[len(way)-1]
	}
	return way, nil
}

// move gives the stance of one step. If the chip is about to drive pins that are driven, a
// stance that releases them comes first.
func (s *Session) move(from stance, changes []Change) ([]stance, error) {
	to := from.clone()
	for _, c := range changes {
		if c.To != Open && s.bidirectional(c.Pin) && !releases(from, c.Pin) {
			return nil, refuse("the chip drives %s now, or may: outputs are never driven", s.Type.Variant.Pins[c.Pin-1].Name)
		}
		to.drives[c.Pin], to.unknown = c.To, to.unknown.With(c.Pin, false)
	}
	for _, open := range s.openLevels(from, to) {
		if why := s.rules.Refusal(s.levels(from, open), s.levels(to, open)); why != "" {
			return nil, refuse("%s (data sheet)", why)
		}
	}
	s.settle(to)
	var turned part.Pins
	for pin := range s.bidirectionals().All() {
		turned = turned.With(pin, to.drives[pin] != Open && !releases(to, pin))
	}
	if turned == 0 {
		return []stance{to}, nil
	}
	first := from.clone()
	for pin := range turned.All() {
		first.drives[pin], to.drives[pin] = Open, Open
	}
	s.settle(first)
	to.good = first.good.Clone()
	s.settle(to)
	return []stance{first, to}, nil
}

func (s *Session) bidirectional(pin int) bool { return s.bidirectionals().Has(pin) }

func (s *Session) bidirectionals() (pins part.Pins) {
	for _, p := range s.Type.Variant.Pins {
		pins = pins.With(p.Number, p.Role == part.Bidirectional && p.Tied == part.NotTied)
	}
	return pins
}

// releases reports whether the good chip certainly releases a pin.
func releases(st stance, pin int) bool { return st.good.Out(pin).Lane(0) == logic.Z }

// openLevels are the levels that open MOS inputs must be assumed to have: both, because
// they may have either.
func (s *Session) openLevels(stances ...stance) []bool {
	if !s.Type.Family.Technology.Bipolar() {
		for _, st := range stances {
			for _, p := range s.Type.Variant.Pins {
				if p.Role == part.Input && st.drives[p.Number] == Open {
					return []bool{false, true}
				}
			}
		}
	}
	return []bool{true}
}

// levels are the inputs that count as high; open MOS inputs count as given.
func (s *Session) levels(st stance, open bool) (high part.Pins) {
	for _, p := range s.Type.Variant.Pins {
		if !p.Drivable() {
			continue
		}
		v := s.counts(st, p.Number)
		high = high.With(p.Number, v == logic.One || v == logic.X && open)
	}
	return high
}

// counts is the level that a good chip takes an input for. An open input of a bipolar
// part counts as high (data books: an open TTL input acts as a logical 1; common
// practice: not to rely on it), one of a MOS part as unknown.
func (s *Session) counts(st stance, pin int) logic.Value {
	p := &s.Type.Variant.Pins[pin-1]
	if p.Role == part.Bidirectional {
		if v := st.good.Out(pin).Lane(0); v != logic.Z {
			return v
		}
	}
	switch {
	case st.unknown.Has(pin):
		return logic.X
	case st.drives[pin] == High:
		return logic.One
	case st.drives[pin] == Low:
		return logic.Zero
	}
	if p.PullUp || s.Type.Family.Technology.Bipolar() {
		return logic.One
	}
	return logic.X
}

// settle brings the good chip to rest under the drives. What a bidirectional pin shows to
// the chip is what the chip itself drives there, if it does.
func (s *Session) settle(st stance) {
	const rounds = 4
	for range rounds {
		before := s.shown(st)
		for _, pin := range s.circuit.InputPins {
			st.good.Set(pin, logic.Splat(s.counts(st, pin)))
		}
		st.good.Settle()
		if s.shown(st) == before {
			return
		}
	}
}

// shown gives the levels at the good chip's outputs.
func (s *Session) shown(st stance) (levels [part.MaxPins + 1]logic.Value) {
	for _, o := range s.circuit.Outputs {
		levels[o.Pin] = st.good.Out(o.Pin).Lane(0)
	}
	return levels
}
