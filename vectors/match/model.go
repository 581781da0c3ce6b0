package match

import (
	"math/rand/v2"
	"slices"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A model is a candidate at work.
type model interface {
	// take simulates a step, and gives the lanes that lost their state: the step did what the
	// data sheet forbids, or the chip was switched on anew.
	take(s Step) (lost uint64)
	forbidden() uint64 // the lanes in which the present levels are forbidden, or may be
	predict(pin int) prediction
}

func modelOf(c Candidate) model {
	if c.Circuit == nil {
		return &memory{v: c.Variant, m: c.Variant.Memory, words: map[int]int{}}
	}
	return unpowered(c.Circuit)
}

// allLanes are all 64.
const allLanes = ^uint64(0)

// gates are a part of logic.
type gates struct {
	c      *logic.Circuit
	m      *logic.Machine
	shapes [part.MaxPins + 1]shape // of faulty outputs, by pin
	lane   int                     // that predicts
	// untold are the lanes in which the definition does not say what the part does now: a tied
	// pin is at the other level, or the data sheet forbids the levels.
	untold uint64

	rules  *stimulus.Rules // nil where the part forbids nothing
	levels part.Pins       // inputs that were high after the last step
	known  bool            // whether all of them were
	caught uint64          // the lanes in which flip-flop inputs changed during the present pulse

	// woken gives each bit of the state at power-up, by lanes; nil leaves it unknown.
	woken func(bit int) uint64
	next  []int // the lanes that predict after each further loss of the state
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

// states is how many states at power-up are tried, one a lane.
const states = 64

// awake is a candidate that has powered up, each lane in another state. The first of the lanes
// given predicts; after each loss of the state the next one takes over.
func awake(c Candidate, lanes ...int) *gates {
	g := unpowered(c.Circuit)
	random := rand.New(rand.NewPCG(1, 0))
	g.wake(func(int) uint64 { return random.Uint64() })
	g.next = lanes
	g.turn() // to the first
	return g
}

// wake powers a candidate up in given states.
func (g *gates) wake(woken func(bit int) uint64) {
	g.woken = woken
	g.m.Wake(woken)
}

// turn lets the next lane predict.
func (g *gates) turn() {
	if len(g.next) > 0 {
		g.lane, g.next = g.next[0], g.next[1:]
	}
}

// out is what the candidate drives at a pin.
func (g *gates) out(pin int) logic.Word { return g.shapes[pin].on(g.m.Out(pin)) }

// allows gives the lanes that a pin's reading does not contradict.
func (g *gates) allows(pin int, s Step) uint64 {
	p := g.c.Variant.Pins[pin-1]
	if predicted(p, func() prediction { return prediction{} }).anything {
		return allLanes
	}
	w := g.m.Out(pin)
	if !p.Observable() {
		w = logic.Word{}
	}
	return g.allowing(w, pin, s, p) | g.untold
}

// weak reports whether a part's highs at a pin are those of a resistor, which the load pulls
// low and against which the bias may read either way: gates of DTL but for the buffers.
func (g *gates) weak(p part.Pin) bool {
	return p.Stage == part.TotemPole && p.Drive != part.BufferDrive && onlyDTL(g.c.Variant)
}

// allowing is allowing, with the highs of a resistor.
func (g *gates) allowing(w logic.Word, pin int, s Step, p part.Pin) (lanes uint64) {
	lanes = allowing(w, pin, s, p)
	seen := s.Read(pin)
	if g.weak(p) && (s.Low.Has(pin) && seen == logic.Zero || seen == logic.Z) {
		lanes |= w.Hi
	}
	return lanes
}

// allowing gives the lanes in which what a part drives at a pin may read so.
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

// levelAt is the level at a pin that a candidate drives to w. A level that was seen counts,
// whoever made it. An open pin that follows its resistor has the candidate's level, and is
// unknown where the candidate releases it.
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

// take simulates a step. What the data sheet forbids costs the part its state.
func (g *gates) take(s Step) (lost uint64) {
	if s.Anew {
		g.known, g.caught = false, 0
		for _, pin := range g.c.InputPins { // so that no clock has an edge as the chip comes up
			g.m.Set(pin, logic.Splat(logic.X))
		}
		g.forget(allLanes)
		lost = allLanes
	}
	defer func() {
		if lost != 0 {
			g.turn()
		}
	}()
	for range 2 { // what the chip drives may be an input of its own
		for _, pin := range g.c.InputPins {
			g.m.Set(pin, levelAt(pin, s, g.out(pin)))
		}
		g.m.Settle()
	}
	g.untold = 0
	for _, p := range g.c.Variant.Pins {
		if p.Tied == part.TiedLow && !s.Low.Has(p.Number) || p.Tied == part.TiedHigh && !s.High.Has(p.Number) {
			g.untold = allLanes
		}
	}
	if g.rules == nil {
		return lost
	}
	broke, caught := g.breaks(s), g.caught
	g.caught = 0
	if g.rules.Pulsing(g.levels) { // the outcome is not known until the pulse is over
		g.caught = broke | caught
	}
	if broke|caught == 0 {
		return lost
	}
	g.untold |= g.forbidden()
	g.forget(broke | caught)
	return lost | broke | caught
}

// breaks gives the lanes in which a step was not allowed, as far as the inputs are known.
func (g *gates) breaks(s Step) uint64 {
	from, was := g.levels, g.known
	g.levels, g.known = 0, true
	for _, pin := range g.c.InputPins {
		up, down := s.PulledUp.Has(pin), s.PulledDown.Has(pin)
		g.levels = g.levels.With(pin, down)
		g.known = g.known && ((s.Low | s.High).Has(pin) || up == down && !s.Between.Has(pin))
	}
	if was && g.known && !g.rules.Allows(from, g.levels) {
		return allLanes
	}
	return g.forbidden()
}

// forbidden gives the lanes in which the present levels are forbidden, or may be.
func (g *gates) forbidden() (lanes uint64) {
	for _, node := range g.c.Never {
		lanes |= g.m.Node(node).Hi
	}
	return lanes
}

// forget makes the state of some lanes unknown, or gives them another one at power-up.
func (g *gates) forget(lanes uint64) {
	state := make([]logic.Word, len(g.c.State))
	for i := range state {
		was, lost := g.m.State(i), logic.Splat(logic.X)
		if g.woken != nil {
			high := g.woken(i)
			lost = logic.Word{Hi: high, Lo: ^high}
		}
		state[i] = logic.Word{Hi: was.Hi&^lanes | lost.Hi&lanes, Lo: was.Lo&^lanes | lost.Lo&lanes}
	}
	g.m.Restore(state)
	g.m.Settle()
}

func (g *gates) predict(pin int) prediction {
	p := g.c.Variant.Pins[pin-1]
	return predicted(p, func() prediction {
		v, untold := g.m.Out(pin).Lane(g.lane), g.untold>>g.lane&1 != 0
		if untold {
			v = logic.X
		}
		drives := !untold && p.Stage == part.TotemPole && p.Role == part.Output
		return prediction{value: v, drives: drives, pulledUp: p.PullUp, weak: g.weak(p)}
	})
}

// predicted is what a pin does by its role. Only outputs are asked for what they drive.
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

func (m *memory) take(s Step) (lost uint64) {
	if s.Anew && !m.m.Kind.ROM() {
		clear(m.words)
	}
	for _, p := range m.v.Pins {
		m.level[p.Number] = levelAt(p.Number, s, logic.Word{}).Lane(0)
		if m.level[p.Number] == logic.Z {
			m.level[p.Number] = logic.X
		}
	}
	if m.m.Kind == part.DynamicRAM {
		return 0
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
	return 0
}

func (m *memory) forbidden() uint64 { return 0 }

func (m *memory) active(c *part.Control) logic.Value {
	if c.Either {
		return logic.X // it was made to act at one level, which is not known
	}
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
