package fault

import (
	"fmt"
	"math/bits"
	"slices"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// maxShortSteps is how many steps of an exhaustive sweep a short set is chosen from.
const maxShortSteps = 1 << 14

// Shorten gives a sequence that shows every stuck-at class and every pin fault that
// the whole one shows, with as few steps as a greedy choice finds; for a part that
// remembers, the whole one up to the step that shows the last of them.
func Shorten(c *logic.Circuit, f *part.Family, s *stimulus.Sequence) *stimulus.Sequence {
	short := *s
	if len(c.Registers) > 0 || hasTurning(s) {
		short.Steps = s.Steps[:max(Examine(c, f, s).shown(), 1)]
		short.Method = fmt.Sprintf("short: the first %d steps, which show every fault that all %d show", len(short.Steps), len(s.Steps))
		return &short
	}
	steps := s.Steps[:min(len(s.Steps), maxShortSteps)]
	chosen := cover(detections(c, f, steps))
	short.Steps = nil
	for _, i := range chosen {
		short.Steps = append(short.Steps, steps[i])
	}
	short.Method = fmt.Sprintf("short: %d steps, which show every fault that all %d show (at least %d are needed)", len(chosen), len(s.Steps), LowerBound(c))
	return &short
}

// hasTurning reports whether pins are driven in some steps and not in others.
func hasTurning(s *stimulus.Sequence) bool {
	return slices.ContainsFunc(s.Steps, func(st stimulus.Step) bool { return st.Driven != s.Steps[0].Driven })
}

// detections gives for each step the set of faults that it shows, as bits: the
// stuck-at classes, then the faults of single pins.
func detections(c *logic.Circuit, f *part.Family, steps []stimulus.Step) [][]uint64 {
	m := NewModel(c)
	sets := make([][]uint64, len(steps))
	for group := range slices.Chunk(m.Classes, lanes) {
		machine := m.Circuit.NewMachine()
		for lane, class := range group {
			machine.Stick(class[0].Node, class[0].Value, 1<<lane)
		}
		for i, st := range steps {
			drive(machine, m.Circuit, st)
			var seen uint64
			for pin := range st.Compared.All() {
				v, _ := st.Expect(pin)
				seen |= ^agrees(machine.Out(pin), v)
			}
			sets[i] = append(sets[i], seen)
		}
	}
	faults := slices.DeleteFunc(PinFaults(c.Variant), func(f Fault) bool { return f.Kind == Short })
	for group := range slices.Chunk(faults, lanes) {
		sim := simulate(c, f)
		for i, fault := range group {
			sim.inject(fault, 1<<i)
		}
		for i, st := range steps {
			sim.apply(st)
			var seen uint64
			for pin := range st.Compared.All() {
				v, _ := st.Expect(pin)
				seen |= ^agrees(sim.shown[pin], v)
			}
			sets[i] = append(sets[i], seen)
		}
	}
	return sets
}

// cover chooses steps until every fault that any of them shows is shown: each
// time the one that shows most of what is left. The choice is in ascending order.
func cover(sets [][]uint64) []int {
	left := make([]uint64, len(sets[0]))
	for _, set := range sets {
		for w := range left {
			left[w] |= set[w]
		}
	}
	var chosen []int
	for {
		best, most := -1, 0
		for i, set := range sets {
			n := 0
			for w := range left {
				n += bits.OnesCount64(set[w] & left[w])
			}
			if n > most {
				best, most = i, n
			}
		}
		if best < 0 {
			slices.Sort(chosen)
			return chosen
		}
		chosen = append(chosen, best)
		for w := range left {
			left[w] &^= sets[best][w]
		}
	}
}

// LowerBound is a number of vectors that no complete test of a combinational part
// goes below: an AND, NAND, OR or NOR gate of n inputs needs n+1.
//
// Source: textbook result, as in TestNANDFaultsCollapse.
func LowerBound(c *logic.Circuit) int {
	bound := 2
	for _, n := range c.Nodes {
		switch n.Op {
		case logic.And, logic.Nand, logic.Or, logic.Nor:
			bound = max(bound, len(n.In)+1)
		}
	}
	return bound
}
