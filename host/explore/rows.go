package explore

import (
	"fmt"
	"slices"
	"strings"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/sheet"
)

// A Table is the function table of a gate, a register or the whole part, and records which
// of its rows were seen.
type Table struct {
	Title   string   // gate or register; empty for the whole part
	Columns []string // inputs, a bar, and outputs
	Rows    []Row
	Now     int // the row that the last step was; -1 for none

	outputs part.Pins
}

// A Row is a row of a function table: the first that fits is the one that applies.
type Row struct {
	Cells   []string // H L X Z and arrows, as Columns
	Seen    bool     // it was applied, and all outputs were as expected
	Differs bool     // it was applied, and some output was not

	conditions []condition
	rule       *logic.Rule // of a register, instead of conditions
	earlier    []logic.Rule
}

// A condition is a cell of a row: a signal with H, L, ↑ or ↓.
type condition struct {
	signal int // of part.Logic.Signals
	pin    int
	cell   string
}

// Heading names a table and says how much was seen of it.
func (t *Table) Heading() string {
	words := "function table"
	if name := t.Name(); name != "" {
		words += " of " + name
	}
	return words + ": " + t.Progress()
}

// Name is what the table is of: "gate 1", a register; empty for the whole part.
func (t *Table) Name() string {
	if t.Title != "" && strings.Trim(t.Title, "0123456789") == "" {
		return "gate " + t.Title
	}
	return t.Title
}

// Progress says how much was seen of a table.
func (t *Table) Progress() string {
	seen, differ, all := t.Ticked()
	words := fmt.Sprintf("%d of %d rows as the data sheet has them", seen, all)
	if differ > 0 {
		words += fmt.Sprintf(", %d not", differ)
	}
	return words
}

// Ticked counts the rows that were seen, those that differed, and all.
func (t *Table) Ticked() (seen, differ, all int) {
	for _, r := range t.Rows {
		if r.Seen {
			seen++
		}
		if r.Differs {
			differ++
		}
	}
	return seen, differ, len(t.Rows)
}

// tablesOf gives a part's tables: as the definition prints them, as the rules of its
// registers, or computed for each gate. A part whose table is too large to read has none.
func tablesOf(c *logic.Circuit) (tables []*Table) {
	v := c.Variant
	for _, t := range v.Logic.Tables {
		if ofPins(v, t) { // rows of internal signals may not show at the pins
			tables = append(tables, printed(v, t))
		}
	}
	if len(tables) > 0 {
		return tables
	}
	for i, r := range v.Logic.Registers {
		tables = append(tables, modes(c, i, r))
	}
	if len(tables) > 0 {
		return tables
	}
	gates := v.Gates
	if len(gates) == 0 {
		gates = []part.Gate{{}}
	}
	for _, g := range gates {
		pins := part.PinSet(g.Pins...)
		if len(g.Pins) == 0 {
			pins = part.Pins(1)<<len(v.Pins) - 1
		}
		if t := sheet.FunctionTable(c, pins); t != nil {
			tables = append(tables, computed(v, g.Name, t))
		}
	}
	return tables
}

// ofPins reports whether all columns of a table are pins.
func ofPins(v *part.Variant, t part.Table) bool {
	for _, name := range slices.Concat(t.Inputs, t.Outputs) {
		if v.Pin(name) == nil {
			return false
		}
	}
	return true
}

// signalOf finds a signal by its name; -1 where there is none.
func signalOf(v *part.Variant, name string) int {
	return slices.IndexFunc(v.Logic.Signals, func(s part.Signal) bool { return s.Name == name })
}

// arrow writes an edge of a definition's table as data sheets do.
func arrow(cell string) string {
	switch cell {
	case "^":
		return "↑"
	case "v":
		return "↓"
	}
	return cell
}

// printed is a table of the definition.
func printed(v *part.Variant, t part.Table) *Table {
	table := &Table{Title: t.Gate, Now: -1, Columns: slices.Concat(t.Inputs, []string{"|"}, t.Outputs)}
	for _, name := range t.Outputs {
		table.outputs = table.outputs.With(v.Pin(name).Number, true)
	}
	for _, cells := range t.Rows {
		row := Row{}
		for i, cell := range cells {
			if i == len(t.Inputs) {
				row.Cells = append(row.Cells, "|")
			}
			row.Cells = append(row.Cells, arrow(cell))
			if i < len(t.Inputs) && cell != "X" {
				signal := signalOf(v, t.Inputs[i])
				row.conditions = append(row.conditions, condition{signal, v.Logic.Signals[signal].Pin, arrow(cell)})
			}
		}
		table.Rows = append(table.Rows, row)
	}
	return table
}

// modes is the table of a register's rules.
func modes(c *logic.Circuit, i int, r part.Register) *Table {
	cells := sheet.ModeRows(c.Variant, r)
	table := &Table{Title: r.Name, Now: -1, Columns: cells[0], outputs: outputsOf(c.Variant)}
	rules := c.Registers[i].Rules
	for j := range rules {
		table.Rows = append(table.Rows, Row{Cells: cells[j+1], rule: &rules[j], earlier: rules[:j]})
	}
	return table
}

func outputsOf(v *part.Variant) (pins part.Pins) {
	for _, p := range v.Pins {
		pins = pins.With(p.Number, p.Observable())
	}
	return pins
}

// computed is a table worked out of the function.
func computed(v *part.Variant, gate string, t *sheet.Table) *Table {
	table := &Table{Title: gate, Now: -1}
	for _, p := range t.Inputs {
		table.Columns = append(table.Columns, p.Name)
	}
	table.Columns = append(table.Columns, "|")
	for _, p := range t.Outputs {
		table.Columns = append(table.Columns, p.Name)
		table.outputs = table.outputs.With(p.Number, true)
	}
	for _, values := range t.Rows {
		row := Row{}
		for i, value := range values {
			if i == len(t.Inputs) {
				row.Cells = append(row.Cells, "|")
			}
			row.Cells = append(row.Cells, Letter(value))
			if i < len(t.Inputs) && value != logic.X {
				pin := t.Inputs[i]
				row.conditions = append(row.conditions, condition{signalOf(v, pin.Name), pin.Number, Letter(value)})
			}
		}
		table.Rows = append(table.Rows, row)
	}
	return table
}

// applies reports whether a step from one stance of the good chip to another is the row.
func (r *Row) applies(before, now stance) bool {
	if r.rule != nil {
		return ruleApplies(r.rule, before.good, now.good) &&
			!slices.ContainsFunc(r.earlier, func(e logic.Rule) bool { return ruleApplies(&e, before.good, now.good) })
	}
	edged := slices.ContainsFunc(r.conditions, func(c condition) bool { return c.edge() })
	for _, c := range r.conditions {
		was, is := before.good.Level(c.signal).Lane(0), now.good.Level(c.signal).Lane(0)
		want := map[string][2]logic.Value{"H": {logic.One, logic.One}, "L": {logic.Zero, logic.Zero}, "↑": {logic.Zero, logic.One}, "↓": {logic.One, logic.Zero}}[c.cell]
		if is != want[1] || edged && was != want[0] || now.drives[c.pin] == Open {
			return false
		}
	}
	return true
}

func (c condition) edge() bool { return c.cell == "↑" || c.cell == "↓" }

// ruleApplies reports whether a register's rule certainly acts in a step.
func ruleApplies(r *logic.Rule, before, now *logic.Machine) bool {
	when := now
	if r.Edge != part.Level {
		want := [2]logic.Value{logic.One, logic.Zero} // a fall; a pulse acts there too
		if r.Edge == part.Rise {
			want = [2]logic.Value{logic.Zero, logic.One}
		}
		if before.Node(r.Clock).Lane(0) != want[0] || now.Node(r.Clock).Lane(0) != want[1] {
			return false
		}
		when = before
	}
	return r.When < 0 || when.Node(r.When).Lane(0) == logic.One
}

// tick ticks off, in each table, the row that the last step was.
func (s *Session) tick(before stance) {
	differ := s.state.Differences()
	var compared part.Pins
	for _, p := range s.state.Pins {
		compared = compared.With(p.Number, p.Compared)
	}
	for _, t := range s.tables {
		i := slices.IndexFunc(t.Rows, func(r Row) bool { return r.applies(before, s.now) })
		t.Now = i
		if i < 0 || compared&t.outputs == 0 {
			continue
		}
		if differ&t.outputs != 0 {
			t.Rows[i].Differs = true
		} else {
			t.Rows[i].Seen = true
		}
	}
}
