package part

import (
	"slices"
	"strings"
)

// A tableRow is one row of a function table, its cells still as written.
type tableRow struct {
	cells []token
	line  line
}

// table makes equations of a combinational function table, and registers of
// one that remembers (that says ^, v, Q0 or TOGGLE anywhere).
func (b *builder) table(s *scope, st statement, logic *Logic) error {
	t, rows, err := b.readTable(st)
	if err != nil {
		return err
	}
	logic.Tables = append(logic.Tables, t)
	if len(t.Inputs) > 24 {
		return b.src.errorAt(st.rows[0], 1, "a table has at most 24 input columns")
	}
	for i, name := range t.Inputs {
		if len(s.named[name]) != 1 {
			return b.src.errorAt(st.rows[0], columnOf(st.rows[0], name), "column %d: there is no pin or inner name %s of one bit", i+1, name)
		}
	}
	for i, name := range t.Outputs {
		if ids, ok := s.named[name]; ok && len(ids) != 1 {
			return b.src.errorAt(st.rows[0], columnOf(st.rows[0], name), "%s is a bus: a table has a column for each bit", name)
		} else if !ok {
			s.declare(t.Outputs[i], 1)
		}
	}
	if remembers(t) {
		return b.stateTable(s, t, rows, st, logic)
	}
	// each output compares each row with each
	if err := b.src.spend(st.rows[0], len(rows)*len(rows)*len(t.Outputs)); err != nil {
		return err
	}
	gap, err := b.uncovered(t, st.rows[0])
	if err != nil {
		return err
	}
	if gap != "" {
		return b.src.errorAt(st.rows[0], 1, "no row covers %s", gap)
	}
	for i, output := range t.Outputs {
		value, err := s.elaborate(b.column(t, rows, i), 1)
		if err != nil {
			return err
		}
		logic.Equations = append(logic.Equations, Equation{Targets: s.named[output], Value: value, Line: st.line.number, Gate: st.gate, Tabled: true})
	}
	return nil
}

// readTable splits the header and the rows at the bar and checks each cell.
func (b *builder) readTable(st statement) (t Table, rows []tableRow, err error) {
	if len(st.line.tokens) != 1 || len(st.rows) < 2 {
		return t, nil, b.src.errorAt(st.line, 1, "below table must stand a line with the names, inputs | outputs, and at least one row")
	}
	t.Gate = st.gate
	for i, l := range st.rows {
		bar := slices.IndexFunc(l.tokens, func(t token) bool { return t.text == "|" })
		left, right := cells(l.tokens[:bar]), cells(l.tokens[bar+1:])
		if i == 0 {
			if t.Inputs, err = b.header(l, l.tokens[:bar]); err != nil {
				return t, nil, err
			}
			if t.Outputs, err = b.header(l, l.tokens[bar+1:]); err != nil {
				return t, nil, err
			}
			continue
		}
		if len(left) != len(t.Inputs) || len(right) != len(t.Outputs) {
			return t, nil, b.src.errorAt(l, 1, "this row has %d inputs and %d outputs, the table's head has %d and %d", len(left), len(right), len(t.Inputs), len(t.Outputs))
		}
		var words []string
		for _, c := range left {
			if !slices.Contains([]string{"H", "L", "X", "^", "v"}, c.text) {
				return t, nil, b.src.errorAt(l, c.col, "an input cell is H, L, X, ^ or v, not %s", c.text)
			}
			words = append(words, c.text)
		}
		for _, c := range right {
			words = append(words, c.text)
		}
		t.Rows = append(t.Rows, words)
		rows = append(rows, tableRow{slices.Concat(left, right), l})
	}
	return t, rows, nil
}

func (b *builder) header(l line, tokens []token) ([]string, error) {
	if len(tokens) == 0 {
		return nil, b.src.errorAt(l, 1, "names must stand on both sides of the bar")
	}
	return b.src.names(line{number: l.number, text: l.text, tokens: tokens}, 0)
}

// cells joins an exclamation mark to the name behind it.
func cells(tokens []token) []token {
	var joined []token
	for i := 0; i < len(tokens); i++ {
		t := tokens[i]
		if t.text == "!" && i+1 < len(tokens) {
			i++
			t.text += tokens[i].text
		}
		joined = append(joined, t)
	}
	return joined
}

func remembers(t Table) bool {
	for _, row := range t.Rows {
		for _, cell := range row {
			if slices.Contains([]string{"^", "v", "Q0", "!Q0", "/Q0", "TOGGLE"}, cell) {
				return true
			}
		}
	}
	return false
}

// uncovered finds a combination of levels that no row of a table covers, as
// "A=H B=L", or "" where all are covered.
func (b *builder) uncovered(t Table, head line) (gap string, err error) {
	var search func(rows [][]string, col int, chosen []string) string
	search = func(rows [][]string, col int, chosen []string) string {
		if err == nil {
			err = b.src.spend(head, 1+len(rows))
		}
		if err != nil {
			return ""
		}
		if len(rows) == 0 {
			for i := col; i < len(t.Inputs); i++ {
				chosen = append(chosen, t.Inputs[i]+"=L")
			}
			return strings.Join(chosen, " ")
		}
		first := rows[0][col:len(t.Inputs)]
		if !slices.ContainsFunc(first, func(c string) bool { return c != "X" }) {
			return ""
		}
		for _, level := range []string{"L", "H"} {
			var matching [][]string
			for _, row := range rows {
				if row[col] == level || row[col] == "X" {
					matching = append(matching, row)
				}
			}
			if gap := search(matching, col+1, append(slices.Clone(chosen), t.Inputs[col]+"="+level)); gap != "" {
				return gap
			}
		}
		return ""
	}
	gap = search(t.Rows, 0, nil)
	return gap, err
}

// match is the condition under which a row's levels hold; nil where it always holds.
func (r tableRow) match(t Table) *node {
	and := &node{op: "&", line: r.line, col: 1}
	for i, name := range t.Inputs {
		n := &node{op: "name", text: name, line: r.line, col: r.cells[i].col}
		switch r.cells[i].text {
		case "H":
			and.kids = append(and.kids, n)
		case "L":
			and.kids = append(and.kids, &node{op: "!", kids: []*node{n}, line: r.line, col: n.col})
		}
	}
	switch len(and.kids) {
	case 0:
		return nil
	case 1:
		return and.kids[0]
	}
	return and
}

// column is the value of one output of a combinational table: a sum of products
// where the rows exclude each other and say only H and L, as the gates of the
// chip would be, and a choice of the first row that matches otherwise.
func (b *builder) column(t Table, rows []tableRow, output int) *node {
	cell := func(r tableRow) string { return r.cells[len(t.Inputs)+output].text }
	plain := true
	counts := map[string]int{}
	for i, r := range rows {
		counts[cell(r)]++
		plain = plain && (cell(r) == "H" || cell(r) == "L")
		for _, earlier := range rows[:i] {
			plain = plain && (cell(earlier) == cell(r) || excludes(t, earlier, r))
		}
	}
	if !plain {
		return choice(t, rows, output)
	}
	wanted, invert := "H", false
	if counts["L"] > 0 && counts["L"] < counts["H"] {
		wanted, invert = "L", true
	}
	or := &node{op: "|", line: rows[0].line, col: 1}
	for _, r := range rows {
		if cell(r) != wanted {
			continue
		}
		m := r.match(t)
		if m == nil {
			return levelNode(r, len(t.Inputs)+output)
		}
		or.kids = append(or.kids, m)
	}
	sum := or
	switch len(or.kids) {
	case 0:
		sum = &node{op: "number", text: "0", line: or.line, col: 1}
	case 1:
		sum = or.kids[0]
	}
	if invert {
		return &node{op: "!", kids: []*node{sum}, line: or.line, col: 1}
	}
	return sum
}

// excludes reports whether no combination of levels matches both rows.
func excludes(t Table, a, b tableRow) bool {
	for i := range t.Inputs {
		x, y := a.cells[i].text, b.cells[i].text
		if x == "H" && y == "L" || x == "L" && y == "H" {
			return true
		}
	}
	return false
}

func choice(t Table, rows []tableRow, output int) *node {
	last := len(rows) - 1
	value := levelNode(rows[last], len(t.Inputs)+output)
	for i := last - 1; i >= 0; i-- {
		m := rows[i].match(t)
		this := levelNode(rows[i], len(t.Inputs)+output)
		if m == nil || this.op == value.op && this.text == value.text && len(this.kids) == 0 {
			if m == nil {
				value = this
			}
			continue
		}
		value = &node{op: "?:", kids: []*node{m, this, value}, line: rows[i].line, col: 1}
	}
	return value
}

// levelNode is the value that an output cell stands for: a level, or a pin's.
func levelNode(r tableRow, i int) *node {
	cell := r.cells[i]
	n := &node{op: "number", line: r.line, col: cell.col}
	name, inverted := strings.CutPrefix(cell.text, "!")
	switch name {
	case "H":
		n.text = "1"
	case "L":
		n.text = "0"
	case "X":
		n.text = "x"
	case "Z":
		n.text = "z"
	default:
		n.op, n.text = "name", name
	}
	if inverted {
		return &node{op: "!", kids: []*node{n}, line: r.line, col: cell.col}
	}
	return n
}

// stateTable makes a register of each output column: a rule for each row that does not hold.
func (b *builder) stateTable(s *scope, t Table, rows []tableRow, st statement, logic *Logic) error {
	for i, output := range t.Outputs {
		r := Register{Name: output, Bits: s.named[output], Line: st.line.number, Gate: st.gate, Tabled: true}
		for _, row := range rows {
			rule, err := b.rowRule(s, t, row, i)
			if err != nil {
				return err
			}
			r.Rules = append(r.Rules, rule)
		}
		logic.Registers = append(logic.Registers, r)
	}
	return nil
}

func (b *builder) rowRule(s *scope, t Table, row tableRow, output int) (Rule, error) {
	rule := Rule{Line: row.line.number, Text: row.line.written()}
	for i, name := range t.Inputs {
		c := row.cells[i]
		if c.text != "^" && c.text != "v" {
			continue
		}
		if rule.Edge != Level {
			return rule, b.src.errorAt(row.line, c.col, "a row has one edge, this one has two")
		}
		rule.Edge, rule.Clock = map[string]Edge{"^": Rise, "v": Fall}[c.text], s.named[name][0]
	}
	when := row.match(t)
	if when == nil && rule.Edge == Level {
		when = &node{op: "number", text: "1", line: row.line, col: 1}
	}
	cell := row.cells[len(t.Inputs)+output]
	self := &node{op: "name", text: t.Outputs[output], line: row.line, col: cell.col}
	next := levelNode(row, len(t.Inputs)+output)
	switch cell.text {
	case "Q0", "/Q0":
		next = self
	case "!Q0", "TOGGLE":
		next = &node{op: "!", kids: []*node{self}, line: row.line, col: cell.col}
	}
	var err error
	if when != nil {
		if rule.When, err = s.elaborate(when, 1); err != nil {
			return rule, err
		}
	}
	rule.Next, err = s.elaborate(next, 1)
	return rule, err
}
