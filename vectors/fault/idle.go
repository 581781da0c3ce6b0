package fault

import (
	"slices"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// Bounds within which it is proven that a cell fault never acts.
const (
	maxSupport = 20 // bits of state and inputs that a register's bit depends on
	maxClocks  = 4  // clocks of one register
)

// idle proves cell faults that never act: under no levels of the state and the
// inputs that the fault could depend on, and at no edge, does the bit take another
// level for certain. States that cannot be reached count too, so that what is
// proven holds, and what is not may still be undetectable. It gives whether each is
// proven; where a bit depends on too much, it is not.
func idle(c *logic.Circuit, cells []Cell) []bool {
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
		still, decided := neverActs(c, b.register, b.bit, of[b], cells)
		for _, i := range still {
			proven[i] = decided
		}
	}
	return proven
}

// neverActs tries every combination of what a bit depends on and gives the faults
// that none makes act. Decided is false where there are too many to try.
func neverActs(c *logic.Circuit, register, bit int, faults []int, cells []Cell) (still []int, decided bool) {
	r := &c.Registers[register]
	pins, states, clocks := dependsOn(c, r, bit, slices.ContainsFunc(faults, func(i int) bool { return cells[i].Kind == logic.Miscounts }))
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
		for i, pin := range pins {
			m.Set(pin, binaryWord(base, i))
		}
		for i, s := range states {
			state[s] = binaryWord(base, len(pins)+i)
		}
		valid := ^uint64(0)
		if total := uint64(1) << variables; total < 64 {
			valid = 1<<total - 1
		}
		for edges := range 1 << len(clocks) {
			m.Restore(state)
			allowed := valid
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
	needed := c.Cone(nodes...)
	for _, pin := range c.InputPins {
		if needed[c.Inputs[pin]] {
			pins = append(pins, pin)
		}
	}
	for i, s := range c.State {
		if needed[s.Node] {
			states = append(states, i)
		}
	}
	return pins, states, clocks
}
