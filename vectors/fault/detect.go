package fault

import (
	"slices"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// quickSteps are the first steps of a sequence, which show most faults. What
// they do not show is gathered and run through the whole.
const quickSteps = 300

// DetectedPins tells for each pin fault whether the sequence shows it: a known
// wrong value at a compared pin. A MOS input that floats may be taken for either
// level, so its open fault counts as detected where both stuck faults of the pin are.
func DetectedPins(c *logic.Circuit, f *part.Family, s *stimulus.Sequence, faults []Fault) []bool {
	detected, _ := detectPins(c, f, s, faults)
	return detected
}

// detectPins is DetectedPins, with the step that shows the last fault, from 1.
func detectPins(c *logic.Circuit, f *part.Family, s *stimulus.Sequence, faults []Fault) (detected []bool, last int) {
	detected, last = inTwoPasses(len(faults), lanes, s.Steps, func(steps []stimulus.Step, group []int) ([]bool, int) {
		return runPins(c, f, steps, faults, group)
	})
	floating(c, f, faults, detected)
	return detected, last
}

// Unseen lists the faults of single pins that no step of a sequence shows.
func Unseen(c *logic.Circuit, f *part.Family, s *stimulus.Sequence) []Fault {
	faults := slices.DeleteFunc(PinFaults(c.Variant), func(f Fault) bool { return f.Kind == Short })
	var unseen []Fault
	for i, d := range DetectedPins(c, f, s, faults) {
		if !d {
			unseen = append(unseen, faults[i])
		}
	}
	return unseen
}

// runPins simulates a group of faults and tells which are shown, and at which
// step the last of them was, counted from 1.
func runPins(c *logic.Circuit, f *part.Family, steps []stimulus.Step, faults []Fault, group []int) (detected []bool, last int) {
	var chosen []Fault
	for _, i := range group {
		chosen = append(chosen, faults[i])
	}
	sim := simulate(c, f, chosen)
	sim.machine.PowerUp(1)
	all := ^uint64(0) >> (lanes - len(group))
	var seen uint64
	for i, st := range steps {
		before := seen & all
		sim.apply(st)
		for pin := range st.Compared.All() {
			v, _ := st.Expect(pin)
			seen |= ^agrees(sim.shown[pin], v)
		}
		seen |= sim.contradicted(st)
		if seen&all != before {
			last = i + 1
		}
		if seen&all == all {
			break
		}
	}
	for i := range group {
		detected = append(detected, seen>>i&1 != 0)
	}
	return detected, last
}

// contradicted gives the lanes whose short joins two pins of which a good chip
// shows one high and the other low: however the contest ends, one of them is wrong.
func (s *simulation) contradicted(st stimulus.Step) (lanes uint64) {
	for _, sh := range s.shorts {
		a, b := st.Compared.Has(sh.a), st.Compared.Has(sh.b)
		if a && b && !st.Z.Has(sh.a) && !st.Z.Has(sh.b) && st.High.Has(sh.a) != st.High.Has(sh.b) {
			lanes |= sh.mask
		}
	}
	return lanes
}

// floating decides the open faults of MOS inputs by their stuck faults.
func floating(c *logic.Circuit, f *part.Family, faults []Fault, detected []bool) {
	if f.Technology.Bipolar() {
		return
	}
	stuck := map[int]int{}
	for i, fault := range faults {
		if (fault.Kind == StuckLow || fault.Kind == StuckHigh) && detected[i] {
			stuck[fault.Pin]++
		}
	}
	for i, fault := range faults {
		if fault.Kind == Open && c.Variant.Pins[fault.Pin-1].Role == part.Input {
			detected[i] = stuck[fault.Pin] == 2
		}
	}
}
