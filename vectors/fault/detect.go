package fault

import (
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// DetectedPins reports for each pin fault whether the sequence shows it: a known
// wrong value at a compared pin, from each of powerUps states at power-up. A MOS
// input that floats may be taken for either level, so its open fault counts as
// detected where both stuck faults of the pin are.
func DetectedPins(c *logic.Circuit, f *part.Family, s *stimulus.Sequence, faults []Fault) []bool {
	var detected []bool
	for _, e := range pinEvidence(c, f, s, faults) {
		detected = append(detected, e.Once > 0)
	}
	return detected
}

// pinEvidence gives the evidence of each pin fault.
func pinEvidence(c *logic.Circuit, f *part.Family, s *stimulus.Sequence, faults []Fault) []Evidence {
	found := witness(len(faults), perFault(c), s.Steps, func(group []int) panel { return pinPanel(c, f, faults, group) })
	floating(c, f, faults, found)
	return found
}

// pinPanel makes a panel of a group of pin faults.
func pinPanel(c *logic.Circuit, f *part.Family, faults []Fault, group []int) panel {
	sim := simulate(c, f)
	for i, fault := range group {
		sim.inject(faults[fault], share(i, perFault(c)))
	}
	wake(sim.machine)
	return sim
}

// step gives all chips one step and the lanes that show a known wrong value.
func (s *simulation) step(st stimulus.Step) (wrong uint64) {
	s.apply(st)
	for pin := range st.Compared.All() {
		v, _ := st.Expect(pin)
		wrong |= ^agrees(s.shown[pin], v)
	}
	return wrong | s.contradicted(st)
}

func (s *simulation) clone() panel {
	n := *s
	n.machine = s.machine.Clone()
	return &n
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
func floating(c *logic.Circuit, f *part.Family, faults []Fault, found []Evidence) {
	if f.Technology.Bipolar() {
		return
	}
	stuck := map[int][]Evidence{}
	for i, fault := range faults {
		if fault.Kind == StuckLow || fault.Kind == StuckHigh {
			stuck[fault.Pin] = append(stuck[fault.Pin], found[i])
		}
	}
	for i, fault := range faults {
		if fault.Kind != Open || c.Variant.Pins[fault.Pin-1].Role != part.Input {
			continue
		}
		found[i] = both(stuck[fault.Pin])
	}
}

// both is the evidence of a fault that is one or the other of two: that of the one
// that is shown later.
func both(of []Evidence) (e Evidence) {
	for _, one := range of {
		if one.Once == 0 {
			return Evidence{}
		}
		e.Once, e.Twice = max(e.Once, one.Once), max(e.Twice, one.Twice)
	}
	for _, one := range of {
		if one.Twice == 0 {
			e.Twice = 0
		}
	}
	return e
}
