package explore

import (
	"context"
	"math/bits"
	"slices"

	"chipassay/vectors/part"
)

// mostFree bounds the inputs that are varied in the search for a way to a row.
const mostFree = 10

// Apply brings the chip to a row of a table: it sets the inputs, then gives the clock's edge.
// Inputs for which the row has an X stay as they are if they may. The error is an
// ErrRefused if no way leads there from the present state within the data sheet.
func (s *Session) Apply(ctx context.Context, table, row int) (State, error) {
	if !s.on {
		return s.state, refuse("the supply is off")
	}
	t := s.tables[table]
	way := s.wayTo(t, row)
	if way == nil {
		return s.state, refuse("row %d of the table of %s is not reached from this state", row+1, t.Title)
	}
	return s.pass(ctx, way)
}

// wayTo gives the stances that end in a row of a table; nil if none was found.
func (s *Session) wayTo(t *Table, row int) []stance {
	fixed, free := s.inputsOf(&t.Rows[row])
	for _, edge := range s.edgesOf(&t.Rows[row]) {
		others := fixed
		pins := slices.Collect((free &^ s.fixed).All())
		if edge.Pin != 0 {
			others = fixed.without(edge.Pin)
			pins = slices.DeleteFunc(pins, func(pin int) bool { return pin == edge.Pin })
		}
		for _, setting := range s.settings(others, pins[:min(len(pins), mostFree)]) {
			if way := s.rowWay(setting, edge.Pin, edge.To); s.ends(way, t, row) {
				return way
			}
		}
	}
	return nil
}

// settings are settings of some inputs with the levels of others varied, those nearest to
// the present levels first.
func (s *Session) settings(fixed changes, pins []int) (all []changes) {
	flips := make([]uint, 1<<len(pins))
	for i := range flips {
		flips[i] = uint(i)
	}
	slices.SortStableFunc(flips, func(a, b uint) int { return bits.OnesCount(a) - bits.OnesCount(b) })
	for _, flip := range flips {
		setting := slices.Clone(fixed)
		for i, pin := range pins {
			level := s.now.drives[pin]
			if flip>>i&1 != 0 {
				level = map[Drive]Drive{Open: High, Low: High, High: Low}[level]
			}
			setting = append(setting, Change{pin, max(level, Low)})
		}
		all = append(all, setting)
	}
	return all
}

// ends reports whether the last step of a way is a row of a table.
func (s *Session) ends(way []stance, t *Table, row int) bool {
	if len(way) == 0 {
		return false
	}
	before, last := s.now, way[len(way)-1]
	if len(way) > 1 {
		before = way[len(way)-2]
	}
	return slices.IndexFunc(t.Rows, func(r Row) bool { return r.applies(before, last) }) == row
}

type changes []Change

func (c changes) without(pin int) changes {
	return slices.DeleteFunc(slices.Clone(c), func(c Change) bool { return c.Pin == pin })
}

// inputsOf gives the inputs that a row sets, and others that may have to be set.
func (s *Session) inputsOf(r *Row) (fixed changes, free part.Pins) {
	if r.rule == nil {
		for _, c := range r.conditions {
			if !c.edge() && s.Settable(c.pin) {
				fixed = append(fixed, Change{c.pin, map[string]Drive{"H": High, "L": Low}[c.cell]})
			}
		}
		return fixed, 0
	}
	nodes := []int32{r.rule.When}
	for _, e := range r.earlier {
		nodes = append(nodes, e.When)
	}
	if r.rule.Edge != part.Level {
		nodes = append(nodes, r.rule.Clock)
	}
	return nil, s.circuit.Support(nodes...)
}

// edgesOf gives the edges that may clock a row; one of pin 0 if it needs none. A clock
// behind gates may take either edge of each of their inputs.
func (s *Session) edgesOf(r *Row) (edges []Change) {
	for _, c := range r.conditions {
		if c.edge() {
			return []Change{{c.pin, map[string]Drive{"↑": High, "↓": Low}[c.cell]}}
		}
	}
	if r.rule == nil || r.rule.Edge == part.Level {
		return []Change{{}}
	}
	first, second := Low, High
	if r.rule.Edge == part.Rise {
		first, second = High, Low
	}
	clocks := slices.Collect((s.circuit.Support(r.rule.Clock) &^ s.fixed).All())
	for _, to := range []Drive{first, second} {
		for _, pin := range clocks {
			edges = append(edges, Change{pin, to})
		}
	}
	return edges
}

// rowWay gives the stances of a row: the inputs, and the clock's edge. The inputs are set
// before the edge: while the clock is low, as pulse-triggered flip-flops require, or else
// high, as some counters do. Nil if a step may not be taken.
func (s *Session) rowWay(setting changes, clock int, edge Drive) []stance {
	if clock == 0 {
		return s.steps(setting)
	}
	low, high := []Change{{clock, Low}}, []Change{{clock, High}}
	orders := [][][]Change{{low, setting, high}, {high, setting, low, high}}
	if edge == Low {
		orders = [][][]Change{{low, setting, high, low}, {high, setting, low}}
	}
	for _, order := range orders {
		if way := s.steps(order...); way != nil {
			return way
		}
	}
	return nil
}

// steps gives the stances of steps from the present one, leaving out what is already set;
// nil if one may not be taken.
func (s *Session) steps(steps ...[]Change) (way []stance) {
	at := s.now
	for _, changes := range steps {
		changes = slices.DeleteFunc(slices.Clone(changes), func(c Change) bool { return at.drives[c.Pin] == c.To })
		if len(changes) == 0 {
			continue
		}
		some, err := s.way(at, changes)
		if err != nil {
			return nil
		}
		way = append(way, some...)
		at = way[len(way)-1]
	}
	if len(way) == 0 { // the row is already applied
		way = []stance{s.now}
	}
	return way
}
