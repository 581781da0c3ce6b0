// Package stimulus computes the sequences of steps that test a part, and
// writes them for people and for other programs. A step changes the driven
// pins, waits for the chip to settle, and samples.
package stimulus

import (
	"fmt"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// A Step is the stimulus of one step and what a good chip answers to it. A pin
// that is compared is expected low unless it is in High or Z.
type Step struct {
	Driven   part.Pins // pins that the adapter drives
	Drive    part.Pins // those of Driven that it drives high
	Compared part.Pins // pins whose level is compared after settling
	High     part.Pins // those of Compared that must be high
	Z        part.Pins // those of Compared that must be released (z)
}

// Expect gives the value that pin n must show, and whether it is compared at all.
func (s Step) Expect(n int) (v logic.Value, compared bool) {
	switch {
	case !s.Compared.Has(n):
		return logic.X, false
	case s.Z.Has(n):
		return logic.Z, true
	case s.High.Has(n):
		return logic.One, true
	}
	return logic.Zero, true
}

// A Sequence is a whole test of a part's function.
type Sequence struct {
	Variant *part.Variant
	Method  string    // how the steps were chosen, in words for the report
	Inputs  part.Pins // pins driven in some step
	Outputs part.Pins // pins compared in some step
	Steps   []Step
	// Fixed is how many steps at the front have each a purpose; what follows them
	// is a random walk, which may be cut.
	Fixed int
}

// Cut shortens the sequence to n steps, if its random walk is longer than that.
func (s *Sequence) Cut(n int) {
	if n = max(n, s.Fixed); n < len(s.Steps) && s.Fixed > 0 {
		s.Method += fmt.Sprintf(", of which the first %d, up to the last that shows a new fault and half as many again", n)
		s.Steps = s.Steps[:n]
	}
}

// Hunted says in the method that the steps from n on were found by looking for faults.
func (s *Sequence) Hunted(n int) {
	if more := len(s.Steps) - n; more > 0 {
		s.Method += fmt.Sprintf("; and %d steps found by looking for the faults that these do not show", more)
	}
}
