package explore

import (
	"context"
	"math/bits"
	"slices"

	"chipassay/vectors/part"
)

// mostFree bounds the inputs that are varied in search of a way to a row.
const mostFree = 10

// Apply brings the chip to a row of a table: its inputs set, then its clock's edge. Inputs
// for which the row has an X stay as they are where they may. An ErrRefused where the
// state at hand, or the data sheet, lets no way be found.
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

// wayTo finds the stances that end in a row of a table; nil where none was found.
func (s *Session) wayTo(t *Table, row int) []stance {
	r := &t.Rows[row]
	clock, edge := s.clockOf(r)
	fixed, free := s.inputsOf(r)
	if clock != 0 {
		fixed, free = fixed.without(clock), free.With(clock, false)
	}
	pins := slices.Collect((free &^ s.fixed).All())
	pins = pins[:min(len(pins), mostFree)]
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
		way := s.rowWay(setting, clock, edge)
		if len(way) == 0 {
			continue
		}
		before := s.now
		if len(way) > 1 {
			before = way[len(way)-2]
		}
		applies := func(r Row) bool { return r.applies(before, way[len(way)-1]) }
		if slices.IndexFunc(t.Rows, applies) == row {
			return way
		}
	}
	return nil
}

type changes []Change

func (c changes) without(pin int) changes {
	return slices.DeleteFunc(c, func(c Change) bool { return c.Pin == pin })
}

// inputsOf gives the inputs that a row sets, and those that may have to be set besides.
func (s *Session) inputsOf(r *Row) (fixed changes, free part.Pins) {
	if r.rule == nil {
		for _, c := range r.conditions {
			if c.pin != 0 && !c.edge() && s.Settable(c.pin) {
				fixed = append(fixed, Change{c.pin, map[string]Drive{"H": High, "L": Low}[c.cell]})
			}
		}
		return fixed, 0
	}
	nodes := []int32{r.rule.When}
	for _, e := range r.earlier {
		nodes = append(nodes, e.When)
	}
	return nil, s.circuit.Support(nodes...)
}

// clockOf gives the clock of a row, and the level that its edge leads to; 0 where it has none.
func (s *Session) clockOf(r *Row) (pin int, to Drive) {
	if r.rule != nil && r.rule.Edge != part.Level {
		to = Low
		if r.rule.Edge == part.Rise {
			to = High
		}
		for pin := range (s.circuit.Support(r.rule.Clock) & s.circuit.Clocks() &^ s.fixed).All() {
			return pin, to
		}
		return 0, to
	}
	for _, c := range r.conditions {
		if c.edge() {
			return c.pin, map[string]Drive{"↑": High, "↓": Low}[c.cell]
		}
	}
	return 0, to
}

// rowWay gives the stances of a row: the inputs, and the clock's edge. The inputs are set
// before the edge: while the clock is low, as pulse-triggered flip-flops want it, or else
// high, as some counters do. Nil where some step may not be taken.
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

// steps gives the stances of steps, from that at hand, without what stands already; nil
// where one may not be taken.
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
	if len(way) == 0 { // the row stands already
		way = []stance{s.now}
	}
	return way
}
