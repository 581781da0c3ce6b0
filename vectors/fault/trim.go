package fault

import (
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// Trim shortens the random walk of a part that remembers: what comes after the
// step that shows the last fault of the models shows nothing new. Half as much
// again is kept, for defects that no model has. Sequences of other kinds, and
// short ones, stay as they are.
func Trim(c *logic.Circuit, f *part.Family, s *stimulus.Sequence) {
	if len(c.Registers) == 0 || len(s.Steps) < 1000 {
		return
	}
	last := max(s.Fixed, lastDetection(c, f, s))
	s.Cut(last + last/2)
}
