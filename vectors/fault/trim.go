package fault

import (
	"slices"

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
	last := s.Fixed
	m := NewModel(c)
	for group := range slices.Chunk(indexes(len(m.Classes)), lanes/powerUps) {
		_, step := m.run(s.Steps, group)
		last = max(last, step)
	}
	faults := PinFaults(c.Variant)
	for group := range slices.Chunk(indexes(len(faults)), lanes) {
		_, step := runPins(c, f, s.Steps, faults, group)
		last = max(last, step)
	}
	s.Cut(last + last/2)
}
