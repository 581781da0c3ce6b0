package fault

import (
	"slices"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
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
	on := dependsOn(c, r, bit, whole)
	if !on.small() {
		return faults, false
	}
	m := c.NewMachine()
	on.each(c, []*logic.Machine{m}, func() bool {
		allowed := within(m, c, r, reachable)
		for _, n := range c.Never {
			allowed &^= m.Node(n).Hi &^ m.Node(n).Lo
		}
		faults = slices.DeleteFunc(faults, func(i int) bool { return m.Differs(cells[i].CellFault)&allowed != 0 })
		return len(faults) > 0
	})
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

// dependsOn gives what the next level of a register's bit depends on. Whole adds the
// register's own state.
func dependsOn(c *logic.Circuit, r *logic.Register, bit int, whole bool) (on support) {
	var nodes []int32
	for _, rule := range r.Rules {
		if rule.Edge != part.Level {
			nodes = append(nodes, rule.Clock)
			on.addClock(rule.Clock)
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
	on.variables(c, nodes)
	return on
}
