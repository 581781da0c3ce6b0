package fault

import (
	"slices"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// An Observation is what the pins read in one step: once with the adapter
// pulling them up and once with it pulling them down.
type Observation struct {
	PulledUp, PulledDown part.Pins // pins that read high
}

// Value is the level that a pin showed: a pin that follows the pull is released,
// and one that goes against it is unstable.
func (o Observation) Value(pin int) logic.Value {
	switch up, down := o.PulledUp.Has(pin), o.PulledDown.Has(pin); {
	case up && down:
		return logic.One
	case !up && !down:
		return logic.Zero
	case up:
		return logic.Z
	}
	return logic.X
}

// A Cause is a fault that explains everything that was observed.
type Cause struct {
	Fault   Fault
	Unknown int // levels that the fault does not foretell, and so cannot contradict
}

// Diagnose finds the single pin faults under which the chip would have shown
// exactly what was observed, those that foretell most first. The observations
// belong to the first steps of the sequence.
func Diagnose(c *logic.Circuit, f *part.Family, s *stimulus.Sequence, observed []Observation) []Cause {
	var causes []Cause
	for group := range slices.Chunk(PinFaults(c.Variant), lanes) {
		causes = append(causes, explain(c, f, s, observed, group)...)
	}
	slices.SortStableFunc(causes, func(a, b Cause) int { return a.Unknown - b.Unknown })
	return causes
}

// explain tries up to 64 faults on the observations.
func explain(c *logic.Circuit, f *part.Family, s *stimulus.Sequence, observed []Observation, group []Fault) []Cause {
	sim := simulate(c, f, group)
	alive := ^uint64(0) >> (lanes - len(group))
	unknown := make([]int, len(group))
	for i, o := range observed {
		sim.apply(s.Steps[i])
		for pin := range s.Steps[i].Compared.All() {
			w := sim.shown[pin]
			alive &= agrees(w, o.Value(pin))
			for lane := range unknown {
				if w.Lane(lane) == logic.X {
					unknown[lane]++
				}
			}
		}
		if alive == 0 {
			return nil
		}
	}
	var causes []Cause
	for lane, fault := range group {
		if alive>>lane&1 != 0 {
			causes = append(causes, Cause{fault, unknown[lane]})
		}
	}
	return causes
}

// agrees gives the lanes whose level does not contradict an observed value.
func agrees(w logic.Word, v logic.Value) uint64 {
	switch v {
	case logic.One:
		return w.Hi
	case logic.Zero:
		return w.Lo
	case logic.Z:
		return ^(w.Hi ^ w.Lo)
	}
	return ^uint64(0)
}
