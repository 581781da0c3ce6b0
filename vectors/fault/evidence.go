package fault

import (
	"math/rand/v2"
	"slices"

	"chipassay/vectors/logic"
	"chipassay/vectors/stimulus"
)

// Evidence says by which step, counted from 1, a sequence has shown a fault from
// every state at power-up that was tried, and by which it has done so in two
// steps each; 0 where it does not.
type Evidence struct{ Once, Twice int }

// lanes is how many faulty chips are simulated at a time.
const lanes = 64

// powerUps are the states at power-up from which a fault of a part that remembers
// must be shown: all low, all high, and two more that are each other's complement.
const powerUps = 4

// perFault is how many lanes a fault takes in a circuit.
func perFault(c *logic.Circuit) int {
	if len(c.Registers) == 0 {
		return 1
	}
	return powerUps
}

// share is the mask of the lanes of fault i of a panel.
func share(i, per int) uint64 { return (1<<per - 1) << (i * per) }

// wake powers a machine up, its lanes in groups of powerUps states.
func wake(m *logic.Machine) {
	random := rand.New(rand.NewPCG(1, 0))
	m.Wake(func(int) uint64 {
		states := uint64(0b0110) // lane 0 low, lane 1 high, lanes 2 and 3 opposed
		if random.IntN(2) == 0 {
			states = 0b1010
		}
		return states * 0x1111_1111_1111_1111
	})
}

// A panel is up to 64 faulty chips side by side, one a lane.
type panel interface {
	// step gives all chips one step and the lanes that show a known wrong value.
	step(st stimulus.Step) (wrong uint64)
	// clone gives another panel in the same state.
	clone() panel
}

// chips are a panel of which only the logic is broken.
type chips struct {
	machine *logic.Machine
	circuit *logic.Circuit
}

func (p chips) step(st stimulus.Step) (wrong uint64) {
	drive(p.machine, p.circuit, st)
	for pin := range st.Compared.All() {
		v, _ := st.Expect(pin)
		wrong |= ^agrees(p.machine.Out(pin), v)
	}
	return wrong
}

func (p chips) clone() panel { return chips{p.machine.Clone(), p.circuit} }

// rounds are the numbers of steps after which the faults that were shown twice are
// left out, and the others begin again.
var rounds = []int{300, 2_500, 20_000}

// witness simulates n faults, per lanes each, and gives the evidence of each.
// Build makes a panel of a group of them.
func witness(n, per int, steps []stimulus.Step, build func(group []int) panel) []Evidence {
	found := make([]Evidence, n)
	left := make([]int, n)
	for i := range left {
		left[i] = i
	}
	for _, count := range append(slices.Clone(rounds), len(steps)) {
		count = min(count, len(steps))
		for group := range slices.Chunk(left, lanes/per) {
			watch(build(group), group, per, steps[:count], found)
		}
		if count == len(steps) {
			break
		}
		left = slices.DeleteFunc(left, func(i int) bool { return found[i].Twice > 0 })
	}
	return found
}

// watch runs a panel through steps until all its faults were shown twice.
func watch(p panel, group []int, per int, steps []stimulus.Step, found []Evidence) {
	var once, twice uint64
	all := ^uint64(0) >> (lanes - len(group)*per)
	for i, st := range steps {
		wrong := p.step(st) & all
		if wrong&^twice == 0 {
			continue
		}
		twice |= wrong & once
		once |= wrong
		for k, fault := range group {
			mask, e := share(k, per), &found[fault]
			if once&mask == mask && e.Once == 0 {
				e.Once = i + 1
			}
			if twice&mask == mask && e.Twice == 0 {
				e.Twice = i + 1
			}
		}
		if twice == all {
			return
		}
	}
}
