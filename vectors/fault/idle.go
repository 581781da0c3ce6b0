package fault

import (
	"slices"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// Bounds within which it is proven that a cell fault never acts.
const (
	maxSupport = 22 // bits of state and inputs that a register's bit depends on
	maxClocks  = 4  // clocks of one register
)

// idle proves cell faults that never act: under no levels of the state and the
// inputs that the fault could depend on, and at no edge, does the bit take another
// level for certain. States that cannot be reached count too, so that what is
// proven holds, and what is not may still be undetectable; where the reachable
// states of a register are known, others do not count. It gives whether each is
// proven; where a bit depends on too much, it is not.
func idle(c *logic.Circuit, cells []Cell, reachable []map[uint64]bool) []bool {
	proven := make([]bool, len(cells))
	type bit struct{ register, bit int }
	of := map[bit][]int{} // open faults, by what they break
	var order []bit
	for i, f := range cells {
		if f.Inverted != 0 {
			continue
		}
		b := bit{f.Register, f.Bit}
		if of[b] == nil {
			order = append(order, b)
		}
		of[b] = append(of[b], i)
	}
	for _, b := range order {
		still, decided := neverActs(c, b.register, b.bit, of[b], cells, reachable[b.register])
		for _, i := range still {
			proven[i] = decided
		}
	}
	return proven
}

// neverActs tries every combination of what a bit depends on and gives the faults
// that none makes act. Decided is false where there are too many to try.
func neverActs(c *logic.Circuit, register, bit int, faults []int, cells []Cell, reachable map[uint64]bool) (still []int, decided bool) {
	r := &c.Registers[register]
	whole := reachable != nil || slices.ContainsFunc(faults, func(i int) bool { return cells[i].Kind == logic.Miscounts })
	pins, states, clocks := dependsOn(c, r, bit, whole)
	variables := len(pins) + len(states)
	if variables > maxSupport || len(clocks) > maxClocks {
		return faults, false
	}
	m := c.NewMachine()
	state := make([]logic.Word, len(c.State))
	for i := range state {
		state[i] = logic.Splat(logic.Zero)
	}
	for base := uint64(0); base < 1<<variables && len(faults) > 0; base += 64 {
		for i, s := range states {
			state[s] = binaryWord(base, len(pins)+i)
		}
		valid := ^uint64(0)
		if total := uint64(1) << variables; total < 64 {
			valid = 1<<total - 1
		}
		for edges := range 1 << len(clocks) {
			for i, pin := range pins {
				m.Set(pin, binaryWord(base, i))
			}
			m.Restore(state)
			if drivesBack(c, m, pins) {
				m.Restore(state)
			}
			allowed := valid & within(m, c, r, reachable)
			for _, n := range c.Never {
				allowed &^= m.Node(n).Hi &^ m.Node(n).Lo
			}
			for i, clock := range clocks {
				if edges>>i&1 != 0 {
					m.Arm(clock)
				}
			}
			faults = slices.DeleteFunc(faults, func(i int) bool { return m.Differs(cells[i].CellFault)&allowed != 0 })
		}
	}
	return faults, true
}

// within gives the lanes in which a register is in one of some states, as numbers
// with its most significant bit first; all lanes where none are given.
func within(m *logic.Machine, c *logic.Circuit, r *logic.Register, states map[uint64]bool) (lanes uint64) {
	if states == nil {
		return ^uint64(0)
	}
	var at [64]uint64
	for i, b := range r.Bits {
		high := m.State(b).Hi
		for lane := range at {
			at[lane] |= high >> lane & 1 << (len(r.Bits) - 1 - i)
		}
	}
	for lane, state := range at {
		if states[state] {
			lanes |= 1 << lane
		}
	}
	return lanes
}

// drivesBack puts what the chip drives onto those of some pins that turn round, and
// tells whether there are any.
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

// dependsOn gives what the next level of a register's bit depends on: input pins,
// bits of Circuit.State, and clocks. Whole adds the register's own state.
func dependsOn(c *logic.Circuit, r *logic.Register, bit int, whole bool) (pins, states []int, clocks []int32) {
	var nodes []int32
	for _, rule := range r.Rules {
		if rule.Edge != part.Level {
			nodes = append(nodes, rule.Clock)
			if !slices.Contains(clocks, rule.Clock) {
				clocks = append(clocks, rule.Clock)
			}
		}
		nodes = append(nodes, rule.When)
		if bit == logic.AllBits {
			nodes = append(nodes, rule.Next...)
		} else {
			nodes = append(nodes, rule.Next[bit])
		}
	}
	for i, b := range r.Bits {
		if whole || bit == logic.AllBits || bit == i {
			nodes = append(nodes, c.State[b].Node)
		}
	}
	pins, states = variablesOf(c, nodes)
	return pins, states, clocks
}
