package stimulus

import (
	"fmt"
	"math/rand/v2"
	"slices"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// Extents of a sampled test.
const (
	maxConeInputs = 14   // of an output that is swept whole
	randomSteps   = 4096 // vectors drawn at random
)

// sampled tests a combinational part with too many inputs for a sweep of all:
// the inputs that one output depends on are swept whole where they are few, all
// outputs at the same time; then each pin is changed alone in random
// surroundings, and vectors are drawn at random.
func sampled(c *logic.Circuit) *Sequence {
	s := newSequence(c)
	w := newWalker(c, s)
	r := RulesOf(c)
	swept := w.sweepCones(r)
	inputs := r.data | r.sensitive
	random := rand.New(rand.NewPCG(1, 2))
	apply := func(to part.Pins) {
		if !r.forbidden(to) {
			w.to(to)
		}
	}
	for range randomSteps / inputs.Len() {
		base := w.drive&^inputs | part.Pins(random.Uint32())&inputs
		apply(base)
		for pin := range inputs.All() {
			apply(base ^ part.PinSet(pin))
		}
	}
	s.Method = fmt.Sprintf("sampled: %d inputs are too many for all combinations; %severy pin changed alone in %d random surroundings, in %d steps",
		inputs.Len(), swept, randomSteps/inputs.Len(), len(s.Steps))
	return s
}

// sweepCones goes through all combinations of the inputs of every output that
// depends on few, at the same time: inputs that no output sees together may share
// a variable of the sweep. It is done twice, with sharing inputs alike and then
// opposed, so that no two pins always carry the same level.
func (w *walker) sweepCones(r *Rules) string {
	var cones []part.Pins
	for _, o := range w.c.Outputs {
		if cone := w.c.Support(o.Node) & (r.data | r.sensitive); cone.Len() <= maxConeInputs && cone != 0 {
			cones = append(cones, cone)
		}
	}
	variables := share(cones)
	if len(variables) == 0 || len(variables) > maxConeInputs {
		return ""
	}
	for _, opposed := range []bool{false, true} {
		for n := range uint64(1) << len(variables) {
			drive := w.drive
			for i, pins := range variables {
				high := (n^n>>1)>>i&1 != 0
				for j, pin := range pins {
					drive = drive.With(pin, high != (opposed && j%2 == 1))
				}
			}
			if !r.forbidden(drive) {
				w.to(drive)
			}
		}
	}
	return fmt.Sprintf("%d outputs exhaustive by the inputs that they depend on; ", len(cones))
}

// share gives the inputs of the cones variables, so that no cone has two inputs
// of one variable: each input takes the first that fits.
func share(cones []part.Pins) (variables [][]int) {
	var all part.Pins
	for _, cone := range cones {
		all |= cone
	}
	for pin := range all.All() {
		fits := func(pins []int) bool {
			return !slices.ContainsFunc(cones, func(cone part.Pins) bool {
				return cone.Has(pin) && slices.ContainsFunc(pins, cone.Has)
			})
		}
		if i := slices.IndexFunc(variables, fits); i >= 0 {
			variables[i] = append(variables[i], pin)
		} else {
			variables = append(variables, []int{pin})
		}
	}
	return variables
}
