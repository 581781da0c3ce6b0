package fault

import (
	"chipassay/vectors/logic"
	"chipassay/vectors/stimulus"
)

// closure gives the states that a register may come into from where a trail stands,
// if all else in the chip were free to take any level: what the register does by
// itself bounds it where the chip has too many states to go through. A decade keeps
// to its ten. Nil where its state is not known.
func closure(c *logic.Circuit, r *logic.Register, from *stimulus.Trail) map[uint64]bool {
	start := uint64(0)
	for _, b := range r.Bits {
		v := from.State(b)
		if v == logic.X {
			return nil
		}
		start = start<<1 | uint64(v&1)
	}
	reached := map[uint64]bool{start: true}
	m := c.NewMachine()
	state := make([]logic.Word, len(c.State))
	for i := range state {
		state[i] = logic.Splat(logic.X)
	}
	for open := []uint64{start}; len(open) > 0; {
		at := open[0]
		open = open[1:]
		for i, b := range r.Bits {
			state[b] = logic.Splat(logic.FromBool(at>>(len(r.Bits)-1-i)&1 != 0))
		}
		m.Restore(state)
		for _, rule := range r.Rules {
			if rule.When >= 0 && m.Node(rule.When).Lane(0) == logic.Zero {
				continue
			}
			for _, next := range numbers(m, rule.Next) {
				if !reached[next] {
					reached[next] = true
					open = append(open, next)
				}
			}
		}
	}
	return reached
}

// numbers gives what nodes may make as a number, the most significant first: one that
// is not known is tried at both levels.
func numbers(m *logic.Machine, nodes []int32) []uint64 {
	all := []uint64{0}
	for _, n := range nodes {
		v := m.Node(n).Lane(0)
		for i, number := range all {
			all[i] = number<<1 | uint64(v&1)
			if v == logic.X {
				all = append(all, number<<1)
			}
		}
	}
	return all
}
