package fault

import (
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// Undetectable tells whether it is proven that no stimulus shows a class. A
// combinational part is proven by its exhaustive sweep, which the caller has made
// without detecting the class.
func (m *Model) Undetectable(c Class, s *stimulus.Sequence) bool {
	return len(m.Circuit.Registers) == 0 && exhaustive(m.Circuit, s)
}

// exhaustive tells whether a sequence holds every combination of the inputs that
// are not tied.
func exhaustive(c *logic.Circuit, s *stimulus.Sequence) bool {
	free := 0
	for _, pin := range c.InputPins {
		if p := c.Variant.Pins[pin-1]; p.Tied == part.NotTied && p.Untested == "" {
			free++
		}
	}
	if free > 24 || len(s.Steps) < 1<<free {
		return false
	}
	seen := map[part.Pins]bool{}
	for _, st := range s.Steps {
		seen[st.Drive] = true
	}
	return len(seen) >= 1<<free
}
