package identified

import (
	"fmt"

	"chipassay/host/identify"
	"chipassay/host/report"
	"chipassay/vectors/part"
)

// A FunctionTable is the measured function of a chip that no part explains. Pins have the
// names P1, P2 … in its equations.
type FunctionTable struct {
	Inputs    []int      `json:"inputs"`  // pins
	Outputs   []int      `json:"outputs"` // pins
	Remembers bool       `json:"remembers"`
	Steps     int        `json:"steps"` // in which no memory was seen, or after which it was
	Rows      []string   `json:"rows"`  // IEEE 1364 levels of the outputs, in their order; input i is bit i of the row's number
	Equations []Equation `json:"equations"`
	// Definition is a part definition of it, ready to be named; empty without rows.
	Definition string `json:"definition,omitempty"`
}

// An Equation is a minimal expression of an output.
type Equation struct {
	Pin        int    `json:"pin"`
	Expression string `json:"expression"` // in the language of the definitions: "!(P1 & P2)"
	Stage      string `json:"stage"`
	Enable     string `json:"enable,omitempty"` // where a three-state output drives
}

// definitionNumber is the number of the part in the definition of a measured table.
const definitionNumber = "0000"

func tableOf(a *identify.Answer) *FunctionTable {
	t := a.Table
	if t == nil {
		return nil
	}
	o := &FunctionTable{Inputs: append([]int{}, t.Inputs...), Outputs: append([]int{}, t.Outputs...), Remembers: t.Remembers, Steps: t.Steps,
		Rows: []string{}, Equations: []Equation{}}
	for _, row := range t.Rows {
		levels := ""
		for _, v := range row {
			levels += v.String()
		}
		o.Rows = append(o.Rows, levels)
	}
	for _, e := range t.Equations {
		o.Equations = append(o.Equations, Equation{e.Pin, e.Expression, e.Stage.String(), e.Enable})
	}
	if len(o.Equations) > 0 {
		o.Definition = t.Definition(definitionNumber, familyGuess(a), a.Seat)
	}
	return o
}

// familyGuess is a family whose limits a chip with the measured inputs may be held to.
func familyGuess(a *identify.Answer) string {
	switch {
	case a.Technology == "MOS":
		return "74HC"
	case a.Draw > 0 && a.Draw < part.FamilyByName("74LS").IIL:
		return "74LS"
	}
	return "74"
}

// equationFacts are the equations of a measured table, an output each.
func (t *FunctionTable) equationFacts() (facts []report.Fact) {
	for _, e := range t.Equations {
		f := report.Fact{Label: fmt.Sprintf("P%d", e.Pin), Value: e.Expression}
		switch {
		case e.Enable != "":
			f.Value += ", driven where " + e.Enable
		case e.Stage != part.TotemPole.String():
			f.Value += ", " + e.Stage
		}
		facts = append(facts, f)
	}
	return facts
}

// Heads are the headings of the table's columns: the inputs, and then the outputs.
func (t *FunctionTable) Heads() (heads []string) {
	for _, pin := range append(t.Inputs[:len(t.Inputs):len(t.Inputs)], t.Outputs...) {
		heads = append(heads, fmt.Sprintf("P%d", pin))
	}
	return heads
}

// mostLines is how many lines of a table a person is shown.
const mostLines = 256

// Lines are the first rows as a data sheet prints them: the inputs' levels, then the
// outputs'. What comes again with an input of either level is one row, with X for it.
func (t *FunctionTable) Lines() (lines [][]string) {
	cubes := t.cubes()
	for _, c := range cubes[:min(len(cubes), mostLines)] {
		var cells []string
		for i := range t.Inputs {
			cells = append(cells, c.level(i))
		}
		for _, v := range c.outputs {
			cells = append(cells, report.SheetLevel(string(v)))
		}
		lines = append(lines, cells)
	}
	return lines
}

// MoreLines is how many rows Lines leaves out.
func (t *FunctionTable) MoreLines() int { return max(0, len(t.cubes())-mostLines) }

// A cube is rows with the same outputs: those that differ from one in free inputs alone.
type cube struct {
	row, free int // bits of the inputs
	outputs   string
}

// rows yields the numbers of a cube's rows.
func (c cube) rows(yield func(int) bool) {
	for sub := c.free; yield(c.row|sub) && sub != 0; {
		sub = (sub - 1) & c.free
	}
}

func (c cube) level(input int) string {
	switch {
	case c.free>>input&1 != 0:
		return "X"
	case c.row>>input&1 != 0:
		return "H"
	}
	return "L"
}

// cubes cover each row once: in the order of the rows, with the largest that grows from the
// first that is not covered yet, an input after the other.
func (t *FunctionTable) cubes() (cubes []cube) {
	covered := make([]bool, len(t.Rows))
	fits := func(c cube) bool {
		for at := range c.rows {
			if covered[at] || t.Rows[at] != c.outputs {
				return false
			}
		}
		return true
	}
	for row := range t.Rows {
		if covered[row] {
			continue
		}
		c := cube{row: row, outputs: t.Rows[row]}
		for i := range t.Inputs {
			if larger := (cube{row, c.free | 1<<i, c.outputs}); row>>i&1 == 0 && fits(larger) {
				c = larger
			}
		}
		for at := range c.rows {
			covered[at] = true
		}
		cubes = append(cubes, c)
	}
	return cubes
}
