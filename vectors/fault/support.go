package fault

import (
	"slices"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// Bounds within which every combination of what some logic depends on is tried.
const (
	maxSupport = 22 // inputs and bits of state
	maxClocks  = 4
)

// A support is what some logic depends on at once.
type support struct {
	pins   []int // inputs
	states []int // indexes into Circuit.State
	clocks []int32
}

func (s *support) addClock(n int32) {
	if !slices.Contains(s.clocks, n) {
		s.clocks = append(s.clocks, n)
	}
}

// variables notes the input pins and the bits of state that nodes depend on. What a
// pin that turns round carries is what the chip drives there.
func (s *support) variables(c *logic.Circuit, nodes []int32) {
	needed := c.Cone(nodes...)
	for _, o := range c.Outputs {
		if n, reads := c.Inputs[o.Pin]; reads && needed[n] {
			nodes = append(nodes, o.Node)
		}
	}
	needed = c.Cone(nodes...)
	for _, pin := range c.InputPins {
		if needed[c.Inputs[pin]] {
			s.pins = append(s.pins, pin)
		}
	}
	for i, bit := range c.State {
		if needed[bit.Node] {
			s.states = append(s.states, i)
		}
	}
}

// small reports whether every combination can be tried.
func (s *support) small() bool {
	return len(s.pins)+len(s.states) <= maxSupport && len(s.clocks) <= maxClocks
}

// each puts machines into every combination of levels, 64 at a time, with every set
// of edges just given, for as long as visit says to go on. It reports whether it came
// to the end.
func (s *support) each(c *logic.Circuit, machines []*logic.Machine, visit func() (more bool)) bool {
	state := make([]logic.Word, len(c.State))
	for i := range state {
		state[i] = logic.Splat(logic.Zero)
	}
	for base := uint64(0); base < 1<<(len(s.pins)+len(s.states)); base += 64 {
		for i, bit := range s.states {
			state[bit] = binaryWord(base, len(s.pins)+i)
		}
		for edges := range 1 << len(s.clocks) {
			for _, m := range machines {
				s.place(c, m, state, base, edges)
			}
			if !visit() {
				return false
			}
		}
	}
	return true
}

func (s *support) place(c *logic.Circuit, m *logic.Machine, state []logic.Word, base uint64, edges int) {
	for i, pin := range s.pins {
		m.Set(pin, binaryWord(base, i))
	}
	m.Restore(state)
	if drivesBack(c, m, s.pins) {
		m.Restore(state)
	}
	for i, clock := range s.clocks {
		if edges>>i&1 != 0 {
			m.Arm(clock)
		}
	}
}

// drivesBack puts what the chip drives onto those of some pins that turn round, and
// reports whether there are any.
func drivesBack(c *logic.Circuit, m *logic.Machine, pins []int) (turn bool) {
	for _, pin := range pins {
		if c.Variant.Pins[pin-1].Role == part.Bidirectional {
			w := m.Out(pin)
			driven := w.Hi | w.Lo
			level := m.Node(c.Inputs[pin])
			m.Set(pin, logic.Word{Hi: w.Hi | level.Hi&^driven, Lo: w.Lo | level.Lo&^driven})
			turn = true
		}
	}
	return turn
}

// binaryWord holds bit i of the numbers base to base+63.
func binaryWord(base uint64, i int) logic.Word {
	var high uint64
	for lane := range uint64(64) {
		high |= (base + lane) >> i & 1 << lane
	}
	return logic.Word{Hi: high, Lo: ^high}
}
