package match

import (
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// A model is a candidate at work.
type model interface {
	take(s Step)
	predict(pin int) prediction
}

func modelOf(c Candidate) model {
	if c.Circuit == nil {
		return &memory{v: c.Variant, m: c.Variant.Memory, words: map[int]int{}}
	}
	return &gates{c: c.Circuit, m: c.Circuit.NewMachine()}
}

// gates are a part of logic.
type gates struct {
	c      *logic.Circuit
	m      *logic.Machine
	lane   int  // that predicts
	untied bool // a pin that the definition ties is at another level: its function is not known
}

// states is how many states at power-up are tried, each in a lane.
const states = 64

// awake is a candidate that has powered up, in each lane in another state.
func awake(c Candidate) *gates {
	g := &gates{c: c.Circuit, m: c.Circuit.NewMachine()}
	g.m.PowerUp(1)
	return g
}

// allows gives the lanes that do not rule a pin's reading out.
func (g *gates) allows(pin int, s Step) uint64 {
	p := g.c.Variant.Pins[pin-1]
	if g.untied || predict(p, func() prediction { return prediction{} }).anything {
		return ^uint64(0)
	}
	w := g.m.Out(pin)
	if !p.Observable() {
		w = logic.Word{}
	}
	high := w.Hi
	if p.PullUp || p.Untested != "" {
		high |= ^(w.Hi | w.Lo)
	}
	seen := s.read(pin)
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

// levelAt is what a pin carries that the candidate drives to w: what it is driven to, else
// what the candidate makes of it, else what it is held to; x where it is pulled both ways.
func levelAt(pin int, s Step, w logic.Word, p part.Pin) logic.Word {
	switch {
	case s.Driven.Has(pin):
		return logic.Splat(logic.Zero)
	case s.Low.Has(pin):
		w.Lo |= ^(w.Hi | w.Lo)
	case s.High.Has(pin) || p.PullUp:
		w.Hi |= ^(w.Hi | w.Lo)
	}
	return w // a released input reads as unknown
}

func (g *gates) take(s Step) {
	for range 2 { // what the chip drives may be an input of its own
		for _, pin := range g.c.InputPins {
			g.m.Set(pin, levelAt(pin, s, g.m.Out(pin), g.c.Variant.Pins[pin-1]))
		}
		g.m.Settle()
	}
	g.untied = false
	for _, p := range g.c.Variant.Pins {
		g.untied = g.untied || p.Tied == part.TiedLow && !s.Low.Has(p.Number) || p.Tied == part.TiedHigh && !s.High.Has(p.Number)
	}
}

func (g *gates) predict(pin int) prediction {
	p := g.c.Variant.Pins[pin-1]
	return predict(p, func() prediction {
		v := g.m.Out(pin).Lane(g.lane)
		if g.untied {
			v = logic.X
		}
		drives := !g.untied && (p.Stage == part.TotemPole && p.Role == part.Output)
		return prediction{value: v, drives: drives, pulledUp: p.PullUp}
	})
}

// predict says what a pin does by its role, and asks for what outputs drive.
func predict(p part.Pin, output func() prediction) prediction {
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

func (m *memory) take(s Step) {
	for _, p := range m.v.Pins {
		m.level[p.Number] = levelAt(p.Number, s, logic.Word{}, p).Lane(0)
		if m.level[p.Number] == logic.Z {
			m.level[p.Number] = logic.X
		}
	}
	if m.m.Kind == part.DynamicRAM {
		return
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
}

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
	return predict(p, func() prediction {
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
