package stimulus

import (
	"fmt"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// maxExhaustiveInputs bounds the inputs that are swept whole: 2^18 steps.
const maxExhaustiveInputs = 18

// Exhaustive goes through every combination of a combinational part's inputs
// in Gray order, so that one pin changes a step.
func Exhaustive(v *part.Variant) (*Sequence, error) {
	c, err := logic.Compile(v)
	if err != nil {
		return nil, err
	}
	if len(c.Registers) > 0 {
		return nil, fmt.Errorf("part %s remembers: no exhaustive sweep of its inputs tests it", v.Part.Number)
	}
	s := newSequence(c)
	var swept []int
	var held part.Pins
	for pin := range s.Inputs.All() {
		p := v.Pins[pin-1]
		switch {
		case p.Tied == part.TiedHigh:
			held = held.With(pin, true)
		case p.Tied == part.NotTied && p.Untested == "":
			swept = append(swept, pin)
		}
	}
	if len(swept) > maxExhaustiveInputs {
		return nil, fmt.Errorf("part %s has %d inputs: a sweep of all combinations would take 2^%d steps", v.Part.Number, len(swept), len(swept))
	}
	if len(c.Never) > 0 {
		s.sweepAllowed(c, swept, held)
		s.Method = fmt.Sprintf("exhaustive: all %d combinations of %d inputs that the data sheet allows", len(s.Steps), len(swept))
		return s, nil
	}
	s.Method = fmt.Sprintf("exhaustive: all %d combinations of %d inputs, one pin changing a step", 1<<len(swept), len(swept))
	s.sweep(c, swept, held)
	return s, nil
}

// sweepAllowed adds the steps of a sweep that the data sheet does not forbid.
func (s *Sequence) sweepAllowed(c *logic.Circuit, swept []int, held part.Pins) {
	w, r := newWalker(c, s), RulesOf(c)
	for n := range uint64(1) << len(swept) {
		drive := held
		for i, pin := range swept {
			drive = drive.With(pin, (n^n>>1)>>i&1 != 0)
		}
		if !r.forbidden(drive) {
			w.to(drive)
		}
	}
}

// sweptInputs counts the inputs that a sweep goes through.
func sweptInputs(c *logic.Circuit) (n int) {
	for _, pin := range c.InputPins {
		if p := c.Variant.Pins[pin-1]; p.Tied == part.NotTied && p.Untested == "" {
			n++
		}
	}
	return n
}

// newSequence makes a sequence without steps for a circuit.
func newSequence(c *logic.Circuit) *Sequence {
	s := &Sequence{Variant: c.Variant}
	for _, p := range c.Variant.Pins {
		if p.Drivable() {
			s.Inputs = s.Inputs.With(p.Number, true)
		}
		if p.Observable() && p.Untested == "" {
			s.Outputs = s.Outputs.With(p.Number, true)
		}
	}
	return s
}

// sweep adds a step for each combination of the swept pins, the first pin
// changing most often, evaluated 64 at a time. A bidirectional pin is driven in
// the steps in which the chip releases it.
func (s *Sequence) sweep(c *logic.Circuit, swept []int, held part.Pins) {
	m := c.NewMachine()
	for pin := range s.Inputs.All() {
		m.Set(pin, logic.Splat(logic.FromBool(held.Has(pin))))
	}
	total := uint64(1) << len(swept)
	words := make([]logic.Word, len(c.Outputs))
	for base := uint64(0); base < total; base += 64 {
		lanes := min(64, total-base)
		for i, pin := range swept {
			m.Set(pin, grayWord(base, i))
		}
		m.Settle()
		for i, o := range c.Outputs {
			words[i] = m.Out(o.Pin)
		}
		for lane := range lanes {
			drive := held
			gray := (base + lane) ^ (base+lane)>>1
			for i, pin := range swept {
				drive = drive.With(pin, gray>>i&1 != 0)
			}
			s.Steps = append(s.Steps, s.step(c, drive, words, int(lane)))
		}
	}
}

// grayWord holds bit i of the Gray codes of base to base+63.
func grayWord(base uint64, i int) logic.Word {
	var high uint64
	for lane := range uint64(64) {
		n := base + lane
		high |= (n ^ n>>1) >> i & 1 << lane
	}
	return logic.Word{Hi: high, Lo: ^high}
}

// step makes one step from the driven levels and what the chip drives in a lane.
func (s *Sequence) step(c *logic.Circuit, drive part.Pins, words []logic.Word, lane int) Step {
	st := Step{Driven: s.Inputs, Drive: drive}
	for i, o := range c.Outputs {
		value := words[i].Lane(lane)
		bidirectional := c.Variant.Pins[o.Pin-1].Role == part.Bidirectional
		if bidirectional && value != logic.Z {
			st.Driven, st.Drive = st.Driven.With(o.Pin, false), st.Drive.With(o.Pin, false)
		}
		if value == logic.X || bidirectional && value == logic.Z || !s.Outputs.Has(o.Pin) {
			continue
		}
		st.Compared = st.Compared.With(o.Pin, true)
		st.High = st.High.With(o.Pin, value == logic.One)
		st.Z = st.Z.With(o.Pin, value == logic.Z)
	}
	return st
}
