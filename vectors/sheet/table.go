package sheet

import (
	"fmt"
	"slices"
	"strings"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// Limits on a generated table.
const (
	maxTableInputs = 12
	maxTableRows   = 48
)

// A Table is a function table: a row for each group of input combinations with
// the same outputs, L H X Z as in data sheets.
type Table struct {
	Inputs, Outputs []part.Pin
	Rows            [][]logic.Value // inputs (X for either), then outputs
}

// FunctionTable makes the table of the pins of a combinational gate or part; nil
// where it would be too large to read.
func FunctionTable(c *logic.Circuit, pins part.Pins) *Table {
	t := &Table{}
	for n := range pins.All() {
		switch p := c.Variant.Pins[n-1]; {
		case p.Role == part.Input && p.Tied == part.NotTied:
			t.Inputs = append(t.Inputs, p)
		case p.Role == part.Output:
			t.Outputs = append(t.Outputs, p)
		}
	}
	if len(c.Registers) > 0 || len(t.Inputs) == 0 || len(t.Inputs) > maxTableInputs || len(t.Outputs) == 0 {
		return nil
	}
	// a data sheet has the strobes and selects first: inputs that decide most come first
	outputs := t.evaluate(c)
	free := make([]logic.Value, len(t.Inputs))
	for i := range free {
		free[i] = logic.X
	}
	t.split(outputs, free)
	if len(t.Rows) > maxTableRows {
		return nil
	}
	return t
}

// evaluate gives the outputs, one string for each combination of the inputs, input 0 the lowest bit.
func (t *Table) evaluate(c *logic.Circuit) []string {
	m := c.NewMachine()
	for _, pin := range c.InputPins {
		m.Set(pin, logic.Splat(logic.Zero))
	}
	for _, p := range c.Variant.Pins {
		if p.Tied == part.TiedHigh {
			m.Set(p.Number, logic.Splat(logic.One))
		}
	}
	combinations := make([]string, 1<<len(t.Inputs))
	for n := range combinations {
		for i, p := range t.Inputs {
			m.Set(p.Number, logic.Splat(logic.FromBool(n>>i&1 != 0)))
		}
		m.Settle()
		for _, p := range t.Outputs {
			combinations[n] += m.Out(p.Number).Lane(0).String()
		}
	}
	return combinations
}

// split adds the rows for the combinations that agree with the chosen levels:
// one row where they all have the same outputs, and else those of both levels of
// the input that leaves the fewest rows open.
func (t *Table) split(outputs []string, chosen []logic.Value) {
	var agreeing []int
	for n := range outputs {
		if agrees(n, chosen) {
			agreeing = append(agreeing, n)
		}
	}
	if constant(outputs, agreeing) {
		row := slices.Clone(chosen)
		for _, r := range outputs[agreeing[0]] {
			row = append(row, valueOf(r))
		}
		t.Rows = append(t.Rows, row)
		return
	}
	if len(t.Rows) > maxTableRows {
		return
	}
	best, first := t.decider(outputs, agreeing, chosen)
	for _, level := range []logic.Value{first, first.Not()} {
		next := slices.Clone(chosen)
		next[best] = level
		t.split(outputs, next)
	}
}

// decider finds the free input one of whose levels settles the outputs for the
// most combinations, and that level; the first free input where none does.
func (t *Table) decider(outputs []string, agreeing []int, chosen []logic.Value) (input int, level logic.Value) {
	input = -1
	for i := range t.Inputs {
		if chosen[i] != logic.X {
			continue
		}
		for _, v := range []logic.Value{logic.Zero, logic.One} {
			var subset []int
			for _, n := range agreeing {
				if (n>>i&1 != 0) == (v == logic.One) {
					subset = append(subset, n)
				}
			}
			if constant(outputs, subset) {
				return i, v
			}
		}
		if input < 0 {
			input = i
		}
	}
	return input, logic.Zero
}

func agrees(n int, chosen []logic.Value) bool {
	for i, v := range chosen {
		if v != logic.X && logic.FromBool(n>>i&1 != 0) != v {
			return false
		}
	}
	return true
}

func constant(outputs []string, of []int) bool {
	for _, n := range of {
		if outputs[n] != outputs[of[0]] {
			return false
		}
	}
	return true
}

func valueOf(r rune) logic.Value {
	return map[rune]logic.Value{'0': logic.Zero, '1': logic.One, 'z': logic.Z, 'x': logic.X}[r]
}

// String prints the table as data sheets do.
func (t *Table) String() string {
	var b strings.Builder
	columns := append(slices.Clone(t.Inputs), t.Outputs...)
	cell := func(i int, text string) {
		if i == len(t.Inputs) {
			b.WriteString("  |")
		}
		fmt.Fprintf(&b, "  %-*s", len(columns[i].Name), text)
	}
	for i, p := range columns {
		cell(i, p.Name)
	}
	b.WriteByte('\n')
	for _, row := range t.Rows {
		for i, v := range row {
			cell(i, map[logic.Value]string{logic.Zero: "L", logic.One: "H", logic.X: "X", logic.Z: "Z"}[v])
		}
		b.WriteByte('\n')
	}
	return b.String()
}
