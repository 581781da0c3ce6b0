package tied

import (
	"slices"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// Variant gives the part as it is tested for this use alone: the tied inputs are held
// at their levels in every step, and an output that no other input changes any more is
// not compared, nor are inputs that change nothing any more exercised. All that is so
// left out counts as untested. The error is a *TieError where that is everything, or
// where an input is joined: such a chip is tested with both inputs free.
func (u *Use) Variant() (*part.Variant, error) {
	for _, t := range u.Ties {
		if t.To != 0 {
			return nil, &TieError{t.In(u.Circuit.Variant), "a test takes levels; a chip that passes with both inputs free is good with them joined"}
		}
	}
	v := *u.Circuit.Variant
	v.Pins = slices.Clone(v.Pins)
	v.Use = u.words()
	left := u.idle()
	for pin := range left.All() {
		if p := &v.Pins[pin-1]; p.Untested == "" {
			p.Untested = "not needed with " + v.Use
		}
	}
	for _, t := range u.Ties {
		left = left.With(t.Pin, true)
		v.Pins[t.Pin-1].Tied = part.TiedLow
		if t.High {
			v.Pins[t.Pin-1].Tied = part.TiedHigh
		}
	}
	u.oneWay(&v)
	compared := func(p part.Pin) bool { return p.Observable() && p.Untested == "" }
	if !slices.ContainsFunc(v.Pins, compared) {
		return nil, &TieError{v.Use, "no output is left that an input changes: there is nothing to test"}
	}
	v.Untested = append(slices.Clone(v.Untested), part.Untested{Why: "what " + v.Use + " leave out", Pins: slices.Collect(left.All())})
	v.Logic.Sequences = slices.DeleteFunc(slices.Clone(v.Logic.Sequences), func(s part.Sequence) bool { return moves(s, left) })
	return &v, nil
}

// oneWay makes inputs of the bidirectional pins of a variant that the chip drives no
// longer, and outputs of those that it always drives and does not read.
func (u *Use) oneWay(v *part.Variant) {
	var driven []int
	for _, o := range u.Circuit.Outputs {
		p := &v.Pins[o.Pin-1]
		if p.Role != part.Bidirectional {
			continue
		}
		switch levels := u.bare(o).levels; {
		case constant(levels) && levels[0] == logic.Z:
			p.Role, p.Stage = part.Input, part.NoStage
			v.Logic.Equations = slices.DeleteFunc(slices.Clone(v.Logic.Equations), func(e part.Equation) bool {
				return len(e.Targets) == 1 && v.Logic.Signals[e.Targets[0]].Pin == o.Pin
			})
		case len(levels) > 0 && !slices.Contains(levels, logic.Z) && !slices.Contains(levels, logic.X):
			driven = append(driven, o.Pin)
		}
	}
	read := pinsRead(v.Logic)
	for _, pin := range driven {
		if !read.Has(pin) {
			v.Pins[pin-1].Role = part.Output
		}
	}
}

// pinsRead are the pins that equations and registers read.
func pinsRead(l part.Logic) (pins part.Pins) {
	read := func(signal int) {
		if pin := l.Signals[signal].Pin; pin != 0 {
			pins = pins.With(pin, true)
		}
	}
	in := func(e part.Expr) {
		if e == nil {
			return
		}
		part.Walk(e, func(e part.Expr) {
			if r, ok := e.(part.Ref); ok {
				read(r.Signal)
			}
		})
	}
	for _, e := range l.Equations {
		in(e.Value)
	}
	for _, r := range l.Registers {
		for _, rule := range r.Rules {
			in(rule.When)
			in(rule.Next)
			if rule.Edge != part.Level {
				read(rule.Clock)
			}
		}
	}
	for _, n := range l.Never {
		in(n.When)
	}
	for _, st := range l.Stable {
		in(st.While)
	}
	for _, t := range l.Together {
		in(t.While)
	}
	return pins
}

// idle are the outputs that no input changes any more, and the inputs of the part that
// change none of the others, whatever their level.
func (u *Use) idle() (pins part.Pins) {
	v, bare := u.Circuit.Variant, u.untied()
	var before, bearing, needed part.Pins // inputs of all outputs, of those that are left, and of these with the ties
	for _, o := range u.Circuit.Outputs {
		was, _ := bare.depends(o.Node)
		before |= was
		inputs, _ := u.depends(o.Node)
		still := inputs == 0 || constant(u.bare(o).levels)
		if v.Pins[o.Pin-1].Role == part.Output && still && u.touches(o.Node) {
			pins = pins.With(o.Pin, true)
			continue
		}
		bearing |= was
		if !still {
			needed |= inputs
		}
	}
	tied := func(pin int) bool { return slices.ContainsFunc(u.Ties, func(t Tie) bool { return t.Pin == pin }) }
	for _, p := range v.Pins {
		used := needed.Has(p.Number) || tied(p.Number) && bearing.Has(p.Number)
		if p.Role == part.Input && before.Has(p.Number) && !used {
			pins = pins.With(p.Number, true)
		}
	}
	return pins
}

// constant tells whether a table has the same level in every row.
func constant(levels []logic.Value) bool {
	return len(levels) > 0 && !slices.ContainsFunc(levels, func(v logic.Value) bool { return v != levels[0] || v == logic.X })
}

// moves tells whether a sequence sets any of some pins.
func moves(s part.Sequence, pins part.Pins) bool {
	return slices.ContainsFunc(s.Rows, func(r part.SequenceRow) bool {
		return slices.ContainsFunc(r.Steps, func(l part.Levels) bool { return (l.Low|l.High)&pins != 0 })
	})
}
