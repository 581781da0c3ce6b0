package sheet

import (
	"fmt"
	"slices"
	"strings"

	"chipassay/vectors/part"
)

// Modes prints the function table of a register: a row for each of its rules in
// the order in which they are tried, with levels and arrows for the pins that
// decide, and the next value. What no row covers holds.
func Modes(v *part.Variant, r part.Register) string {
	rows := ModeRows(v, r)
	other := slices.Repeat([]string{""}, len(rows[0])-2)
	return align(append(rows, append(other, "|", "otherwise no change")))
}

// ModeRows gives the cells of that table: its head, with the names of the pins that
// decide, a bar and the register, and below it a row for each of the register's rules.
func ModeRows(v *part.Variant, r part.Register) [][]string {
	p := newPrinter(v)
	var columns []string
	type mode struct {
		cells map[string]string
		next  string
	}
	var modes []mode
	for _, rule := range r.Rules {
		m := mode{cells: map[string]string{}, next: p.expr(rule.Next, 0)}
		if m.next == r.Name || m.next == p.names(r.Bits) {
			m.next = "no change"
		}
		if rule.Edge != part.Level {
			m.cells[p.signals[rule.Clock].Name] = map[part.Edge]string{part.Rise: "↑", part.Fall: "↓", part.Pulse: "↑↓"}[rule.Edge]
		}
		for _, literal := range p.literals(rule.When) {
			m.cells[literal.name] = literal.level
		}
		modes = append(modes, m)
		for _, name := range orderedKeys(m.cells) {
			if !slices.Contains(columns, name) {
				columns = append(columns, name)
			}
		}
	}
	rows := [][]string{append(slices.Clone(columns), "|", r.Name)}
	for _, m := range modes {
		var row []string
		for _, name := range columns {
			cell := m.cells[name]
			if cell == "" {
				cell = "X"
			}
			row = append(row, cell)
		}
		rows = append(rows, append(row, "|", m.next))
	}
	return rows
}

type literal struct{ name, level string }

// literals takes a condition apart into pins and levels; what is no single level
// of a name stands as a column of its own, true.
func (p printer) literals(e part.Expr) []literal {
	switch e := e.(type) {
	case nil:
		return nil
	case part.Ref:
		return []literal{{p.signals[e.Signal].Name, "H"}}
	case part.Not:
		if r, ok := e.X.(part.Ref); ok {
			return []literal{{p.signals[r.Signal].Name, "L"}}
		}
	case part.Gated:
		if e.Op == "&" && e.W == 1 {
			var all []literal
			for _, x := range e.In {
				all = append(all, p.literals(x)...)
			}
			return all
		}
	}
	return []literal{{"(" + p.expr(e, 0) + ")", "true"}}
}

func orderedKeys(cells map[string]string) []string {
	var names []string
	for name := range cells {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

// Printed prints a function table as the definition has it.
func Printed(t part.Table) string {
	bar := len(t.Inputs)
	rows := [][]string{slices.Insert(slices.Concat(t.Inputs, t.Outputs), bar, "|")}
	for _, row := range t.Rows {
		row = slices.Clone(row)
		for i, cell := range row {
			row[i] = map[string]string{"^": "↑", "v": "↓"}[cell]
			if row[i] == "" {
				row[i] = cell
			}
		}
		rows = append(rows, slices.Insert(row, bar, "|"))
	}
	return align(rows)
}

// align sets rows in columns.
func align(rows [][]string) string {
	widths := make([]int, len(rows[0]))
	for _, row := range rows {
		for i, cell := range row {
			if i < len(row)-1 {
				widths[i] = max(widths[i], len([]rune(cell)))
			}
		}
	}
	var b strings.Builder
	for _, row := range rows {
		for i, cell := range row {
			fmt.Fprintf(&b, "  %s%s", cell, strings.Repeat(" ", max(0, widths[i]-len([]rune(cell)))))
		}
		b.WriteByte('\n')
	}
	return b.String()
}
