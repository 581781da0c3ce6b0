package match

import (
	"slices"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A model is a candidate at work.
type model interface {
	take(s Step) (lost bool)
	forbidden() bool // the levels at hand are, or may be
	predict(pin int) prediction
}

func modelOf(c Candidate) model {
	if c.Circuit == nil {
		return &memory{v: c.Variant, m: c.Variant.Memory, words: map[int]int{}}
	}
	return unpowered(c.Circuit)
}

// gates are a part of logic.
type gates struct {
	c    *logic.Circuit
	m    *logic.Machine
	lane int // that predicts
	// untold: the definition does not say what the part does now, for a pin that it ties is at
	// another level, or the data sheet forbids the levels.
	untold bool

	rules  *stimulus.Rules // nil where the part forbids nothing
	levels part.Pins       // inputs that were high after the last step
	known  bool            // whether all of them were
	caught bool            // a pulse is on in which its flip-flops' inputs changed
	wakes  uint64          // how often it powered up, with its state at random; 0: never
}

func unpowered(c *logic.Circuit) *gates {
	g := &gates{c: c, m: c.NewMachine()}
	pulsed := func(r logic.Register) bool {
		return slices.ContainsFunc(r.Rules, func(r logic.Rule) bool { return r.Edge == part.Pulse })
	}
	if len(c.Never)+len(c.Stable) > 0 || slices.ContainsFunc(c.Registers, pulsed) {
		g.rules = stimulus.RulesOf(c)
	}
	return g
}

// states is how many states at power-up are tried, each in a lane.
const states = 64

// awake is a candidate that has powered up, in each lane in another state.
func awake(c Candidate) *gates {
	g := unpowered(c.Circuit)
	g.wake()
	return g
}

func (g *gates) wake() {
	g.wakes++
	g.m.PowerUp(g.wakes)
}

// allows gives the lanes that do not rule a pin's reading out.
func (g *gates) allows(pin int, s Step) uint64 {
	p := g.c.Variant.Pins[pin-1]
	if g.untold || predicted(p, func() prediction { return prediction{} }).anything {
		return ^uint64(0)
	}
	w := g.m.Out(pin)
	if !p.Observable() {
		w = logic.Word{}
	}
	return allowing(w, pin, s, p)
}

// allowing gives the lanes of what a part drives at a pin that do not rule its reading out.
func allowing(w logic.Word, pin int, s Step, p part.Pin) uint64 {
	high := w.Hi
	if p.PullUp || p.Untested != "" {
		high |= ^(w.Hi | w.Lo)
	}
	seen := s.Read(pin)
	switch {
	case s.Low.Has(pin) && seen == logic.One, seen == logic.One && !s.High.Has(pin):
		return high
	case s.Driven.Has(pin):
		return ^uint64(0)
	case s.Low.Has(pin):
		return w.Lo | ^w.Hi
	case s.High.Has(pin) && seen == logic.One:
		return w.Hi | ^w.Lo
	case seen == logic.Zero:
		return w.Lo
	case seen == logic.Z:
		return ^(w.Hi ^ w.Lo)
	}
	return w.Hi & w.Lo
}

// levelAt is what a pin carries that a candidate drives to w. Where it was seen at a level
// it is that, whoever made it so; an open pin that follows its resistor is what the
// candidate makes of it, and where nothing drives it, unknown.
func levelAt(pin int, s Step, w logic.Word) logic.Word {
	up, down := s.PulledUp.Has(pin), s.PulledDown.Has(pin)
	switch {
	case s.Driven.Has(pin) && down: // two drivers against each other
		return logic.Splat(logic.X)
	case (s.Low | s.High).Has(pin), up == down && !s.Between.Has(pin):
		return logic.Splat(logic.FromBool(down))
	}
	return w
}

// take goes one step further. What a data sheet forbids costs the part its state. It tells
// whether it did.
func (g *gates) take(s Step) (lost bool) {
	for range 2 { // what the chip drives may be an input of its own
		for _, pin := range g.c.InputPins {
			g.m.Set(pin, levelAt(pin, s, g.m.Out(pin)))
		}
		g.m.Settle()
	}
	g.untold = false
	for _, p := range g.c.Variant.Pins {
		g.untold = g.untold || p.Tied == part.TiedLow && !s.Low.Has(p.Number) || p.Tied == part.TiedHigh && !s.High.Has(p.Number)
	}
	if g.rules == nil {
		return false
	}
	obeys, caught := g.obeys(s), g.caught
	pulsing := g.rules.Pulsing(g.levels)
	g.caught = pulsing && (caught || !obeys) // what comes of it is not known until the pulse is over
	if obeys && !caught {
		return false
	}
	g.untold = g.untold || g.forbidden()
	g.forget()
	return true
}

// obeys reports whether a step was allowed, for all that is known of the inputs.
func (g *gates) obeys(s Step) bool {
	from, was := g.levels, g.known
	g.levels, g.known = 0, true
	for _, pin := range g.c.InputPins {
		up, down := s.PulledUp.Has(pin), s.PulledDown.Has(pin)
		g.levels = g.levels.With(pin, down)
		g.known = g.known && ((s.Low | s.High).Has(pin) || up == down && !s.Between.Has(pin))
	}
	return !g.forbidden() && (!was || !g.known || g.rules.Allows(from, g.levels))
}

// forbidden reports whether the levels at hand are forbidden, or may be.
func (g *gates) forbidden() bool {
	return slices.ContainsFunc(g.c.Never, func(node int32) bool { return g.m.Node(node).Hi&1 != 0 })
}

// forget leaves the state unknown, or at random again.
func (g *gates) forget() {
	if g.wakes > 0 {
		g.wake()
		return
	}
	state := make([]logic.Word, len(g.c.State))
	for i := range state {
		state[i] = logic.Splat(logic.X)
	}
	g.m.Restore(state)
	g.m.Settle()
}

func (g *gates) predict(pin int) prediction {
	p := g.c.Variant.Pins[pin-1]
	return predicted(p, func() prediction {
		v := g.m.Out(pin).Lane(g.lane)
		if g.untold {
			v = logic.X
		}
		drives := !g.untold && (p.Stage == part.TotemPole && p.Role == part.Output)
		return prediction{value: v, drives: drives, pulledUp: p.PullUp}
	})
}

// predicted says what a pin does by its role, and asks for what outputs drive.
func predicted(p part.Pin, output func() prediction) prediction {
	switch {
	case p.Role == part.External, p.Role == part.Expander, p.Role == part.Supply, p.Role == part.Ground,
		p.Observable() && p.Untested != "":
		return prediction{anything: true}
	case p.Observable():
		return output()
	}
	return prediction{value: logic.Z, pulledUp: p.PullUp || p.Untested != ""}
}

// memory is a part that keeps words. Its contents at first are not known.
type memory struct {
	v     *part.Variant
	m     *part.Memory
	words map[int]int

	level             [part.MaxPins + 1]logic.Value
	selected, enabled logic.Value
	writing           logic.Value
	address           int
	addressed         bool // the address is known
}

func (m *memory) take(s Step) (lost bool) {
	for _, p := range m.v.Pins {
		m.level[p.Number] = levelAt(p.Number, s, logic.Word{}).Lane(0)
		if m.level[p.Number] == logic.Z {
			m.level[p.Number] = logic.X
		}
	}
	if m.m.Kind == part.DynamicRAM {
		return false
	}
	m.selected, m.enabled, m.writing = logic.One, logic.One, logic.Zero
	for i := range m.m.Select {
		m.selected = and(m.selected, m.active(&m.m.Select[i]))
	}
	if m.m.Enable != nil {
		m.enabled = m.active(m.m.Enable)
	}
	if m.m.Write != nil {
		m.writing = and(m.selected, m.active(m.m.Write))
	}
	m.address, m.addressed = m.bus(m.m.Address)
	switch word, known := m.bus(m.m.DataIn); {
	case m.writing == logic.Zero:
	case m.writing == logic.One && m.addressed && known:
		m.words[m.address] = word
	case m.writing == logic.One && m.addressed:
		delete(m.words, m.address)
	default:
		clear(m.words)
	}
	return false
}

func (m *memory) forbidden() bool { return false }

func (m *memory) active(c *part.Control) logic.Value {
	if v := m.level[c.Pin]; v == logic.X || c.Active {
		return v
	}
	return m.level[c.Pin].Not()
}

// and is the conjunction of two values.
func and(a, b logic.Value) logic.Value {
	switch {
	case a == logic.Zero || b == logic.Zero:
		return logic.Zero
	case a == logic.One && b == logic.One:
		return logic.One
	}
	return logic.X
}

// bus reads the number at some pins.
func (m *memory) bus(pins []int) (value int, known bool) {
	for i, pin := range pins {
		switch m.level[pin] {
		case logic.One:
			value |= 1 << i
		case logic.Zero:
		default:
			return 0, false
		}
	}
	return value, true
}

func (m *memory) predict(pin int) prediction {
	p := m.v.Pins[pin-1]
	return predicted(p, func() prediction {
		reading := and(m.selected, m.enabled)
		switch {
		case m.m.Kind == part.DynamicRAM, m.writing != logic.Zero, reading == logic.X:
			return prediction{anything: true}
		case reading == logic.Zero:
			return prediction{value: logic.Z, pulledUp: p.PullUp}
		}
		word, known := m.words[m.address]
		if !m.addressed || !known {
			return prediction{value: logic.X, drives: p.Stage != part.OpenCollector}
		}
		for bit, out := range m.m.DataOut {
			if out == pin {
				v := logic.FromBool((word>>bit&1 != 0) != m.m.Inverted)
				if v == logic.One && p.Stage == part.OpenCollector {
					v = logic.Z
				}
				return prediction{value: v}
			}
		}
		return prediction{value: logic.Z}
	})
}
