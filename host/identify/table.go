package identify

import (
	"context"
	"fmt"
	"math/bits"
	"slices"

	"chipassay/host/probe"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/twolevel"
)

// A Table is what was measured of a chip that no part of the library explains.
type Table struct {
	Inputs, Outputs []int // pins, ascending
	// Remembers reports that the outputs are not a function of the inputs alone; then there
	// are no rows.
	Remembers bool
	Steps     int // without memory seen, or until it was
	// Rows are the outputs' levels for each combination of the inputs; input i is at bit i of
	// the row's number. Nil where there are more than 16 inputs.
	Rows      [][]logic.Value
	Idle      []int      // inputs that no output depends on: unused, or not connected
	Equations []Equation // one for each output; nil without rows
}

// An Equation is a minimal expression of an output.
type Equation struct {
	Pin        int
	Expression string // in the language of the part definitions: "!(P1 & P2)"
	Stage      part.Stage
	Enable     string // where a three-state output drives; empty for the other stages
}

// DefaultMemorySteps is how long memory is looked for in a chip that no part explains.
const DefaultMemorySteps = 20_000

const (
	// mostInputs is how many inputs a table is measured for.
	mostInputs = twolevel.MaxInputs
	// leastMemorySteps is the least also for few inputs: a divider shows its memory late.
	leastMemorySteps = 2_000
)

// unknown measures what an unknown chip does. Its record is apart from that of the probing.
func (a *Answer) unknown(ctx context.Context, s *stranger) (err error) {
	began := s.seat.Spent()
	defer func() { a.Probing += s.seat.Spent() - began }()
	s.walk = nil
	var t *Table
	err = s.powered(ctx, func() (err error) {
		if err := s.walk.Regular(ctx, pulses); err != nil {
			return err
		}
		a.plan.left("measuring its function", a.Steps, nil)
		t, err = measure(ctx, s.walk, a.Open, a.plan)
		return err
	})
	if s.walk != nil {
		a.Steps += len(s.walk.Record().Steps)
	}
	a.Table = t
	switch {
	case err != nil || t == nil:
	case t.Remembers:
		a.Reason = a.unexplained("it remembers, as was seen after %d steps", t.Steps)
	case len(t.Outputs) == 0:
		a.Reason = a.unexplained("none of its pins drives: it may be dead")
	case t.Rows == nil:
		a.Reason = a.unexplained("no memory was seen in %d steps, and %d inputs are too many for a table", t.Steps, len(t.Inputs))
	default:
		a.Reason = a.unexplained("no memory was seen in %d steps, and its function was measured", t.Steps)
	}
	return err
}

// fill measures all combinations of the inputs, in the order of a Gray code.
func (t *Table) fill(ctx context.Context, w *probe.Walker) error {
	w.Release(part.PinSet(t.Outputs...))
	if err := w.Stay(ctx, 1); err != nil {
		return err
	}
	rows := 1 << len(t.Inputs)
	t.Rows = make([][]logic.Value, rows)
	from := len(w.Record().Steps)
	for n := 1; n <= rows; n++ {
		pin := t.Inputs[min(bits.TrailingZeros(uint(n)), len(t.Inputs)-1)]
		if err := w.Flip(ctx, pin); err != nil {
			return err
		}
	}
	all := part.PinSet(t.Inputs...)
	for _, s := range w.Record().Steps[from:] {
		if (s.Low|s.High)&all != all {
			continue
		}
		row := 0
		for i, pin := range t.Inputs {
			if s.High.Has(pin) {
				row |= 1 << i
			}
		}
		t.Rows[row] = nil
		for _, pin := range t.Outputs {
			t.Rows[row] = append(t.Rows[row], s.Read(pin))
		}
	}
	if slices.ContainsFunc(t.Rows, func(r []logic.Value) bool { return r == nil }) {
		t.Rows = nil
		return nil
	}
	for i, pin := range t.Outputs {
		t.Equations = append(t.Equations, t.equation(i, pin))
	}
	for i, pin := range t.Inputs {
		if !t.dependsOn(i) {
			t.Idle = append(t.Idle, pin)
		}
	}
	return nil
}

// dropReleased leaves out the outputs that no row shows driven.
func (t *Table) dropReleased() {
	for i := len(t.Outputs) - 1; i >= 0; i-- {
		if slices.ContainsFunc(t.Rows, func(row []logic.Value) bool { return row[i] != logic.Z }) {
			continue
		}
		t.Outputs = slices.Delete(t.Outputs, i, i+1)
		t.Equations = slices.Delete(t.Equations, i, i+1)
		for r := range t.Rows {
			t.Rows[r] = slices.Delete(t.Rows[r], i, i+1)
		}
	}
}

// dependsOn reports whether an output depends on an input, in some row.
func (t *Table) dependsOn(input int) bool {
	for row, levels := range t.Rows {
		if !slices.Equal(levels, t.Rows[row^1<<input]) {
			return true
		}
	}
	return false
}

// equation is the minimal expression of an output.
func (t *Table) equation(i, pin int) Equation {
	var names []string
	for _, in := range t.Inputs {
		names = append(names, fmt.Sprintf("P%d", in))
	}
	shows := func(v logic.Value) bool {
		return slices.ContainsFunc(t.Rows, func(row []logic.Value) bool { return row[i] == v })
	}
	e := Equation{Pin: pin, Stage: part.TotemPole}
	switch low, high := shows(logic.Zero), shows(logic.One); {
	case !shows(logic.Z):
	case low && high:
		e.Stage = part.ThreeState
	case high:
		e.Stage = part.OpenEmitter
	default:
		e.Stage = part.OpenCollector
	}
	level := func(row int) twolevel.Level {
		switch v := t.Rows[row][i]; {
		case v == logic.Z && e.Stage == part.ThreeState, v == logic.X:
			return twolevel.Either
		case v == logic.One, v == logic.Z && e.Stage == part.OpenCollector:
			return twolevel.High
		}
		return twolevel.Low
	}
	e.Expression = twolevel.Express(twolevel.Of(len(t.Inputs), level)).In(names)
	if e.Stage == part.ThreeState {
		drives := func(row int) twolevel.Level {
			if t.Rows[row][i] == logic.Z {
				return twolevel.Low
			}
			return twolevel.High
		}
		e.Enable = twolevel.Express(twolevel.Of(len(t.Inputs), drives)).In(names)
	}
	return e
}
