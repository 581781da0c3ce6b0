package fault

import (
	"fmt"
	"slices"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A Cell is a fault of one bit of a register against one of its rules, or of a
// gate that decodes the state: one line of it inverted, so that it answers to the
// wrong count.
type Cell struct {
	logic.CellFault
	Inverted int32 // a line of Model.Circuit; 0 where the fault is a rule's
}

// mostCounted is the width, in bits, of the registers of which every state is
// miscounted in turn. Wider ones have their carries and decoders tested.
const mostCounted = 5

// Cells lists the cell faults of a circuit: every bit of every register against
// every rule, and the whole register against it; the registers of few bits
// miscounting in each state; and the lines of the gates that decode state.
func (m *Model) Cells(c *logic.Circuit) []Cell {
	var cells []Cell
	known := specified(m.Circuit)
	shows := func(b int) bool { return known[m.Circuit.State[b].Node] }
	for i, r := range c.Registers {
		for bit, b := range r.Bits { // those of one bit stand together: a panel of them is quick
			for j := range r.Rules {
				if shows(b) {
					cells = append(cells, ruleCells(c, i, j, bit)...)
					cells = append(cells, miscounts(c, i, j, bit)...)
				}
			}
		}
	}
	for i, r := range c.Registers {
		for j := range r.Rules {
			if len(r.Bits) > 1 && slices.ContainsFunc(r.Bits, shows) {
				cells = append(cells, ruleCells(c, i, j, logic.AllBits)...)
			}
		}
	}
	return append(cells, m.decoders(known)...)
}

// ruleCells lists how one bit, or all, may break one rule.
func ruleCells(c *logic.Circuit, register, rule, bit int) (cells []Cell) {
	reg := &c.Registers[register]
	r := &reg.Rules[rule]
	add := func(k logic.CellFaultKind, term int) {
		cells = append(cells, Cell{CellFault: logic.CellFault{Register: register, Bit: bit, Rule: rule, Kind: k, Term: term}})
	}
	if open(c, reg, r, bit) {
		return nil // the data sheet does not specify what the rule gives
	}
	add(logic.Ignores, 0)
	if !keeps(c, reg, r, bit) {
		add(logic.Holds, 0)
		if bit != logic.AllBits { // a whole shift register that inverts is a good one
			add(logic.Inverts, 0)
		}
	}
	if terms := c.Terms(r.When); len(terms) > 1 {
		for i := range terms {
			add(logic.Obeys, i)
		}
	} else if len(terms) == 1 {
		add(logic.Obeys, logic.AllTerms)
	}
	if r.Edge != part.Level {
		add(logic.OtherEdge, 0)
		add(logic.BothEdges, 0)
	}
	return cells
}

// open reports whether the data sheet leaves open what a rule gives a bit, or all.
func open(c *logic.Circuit, r *logic.Register, rule *logic.Rule, bit int) bool {
	for i := range r.Bits {
		if (bit == i || bit == logic.AllBits) && c.Nodes[rule.Next[i]].Op != logic.ConstX {
			return false
		}
	}
	return true
}

// keeps reports whether a rule leaves a bit, or all, as they are.
func keeps(c *logic.Circuit, r *logic.Register, rule *logic.Rule, bit int) bool {
	for i, b := range r.Bits {
		if (bit == i || bit == logic.AllBits) && rule.Next[i] != c.State[b].Node {
			return false
		}
	}
	return true
}

// miscounts lists the states from which a bit may come out wrong, where a rule's
// next state depends on the state.
func miscounts(c *logic.Circuit, register, rule, bit int) (cells []Cell) {
	r := &c.Registers[register]
	if w := len(r.Bits); w < 2 || w > mostCounted || r.Rules[rule].Edge == part.Level || !c.Counts(r, &r.Rules[rule]) || keeps(c, r, &r.Rules[rule], bit) {
		return nil
	}
	for state := range uint64(1) << len(r.Bits) {
		cells = append(cells, Cell{CellFault: logic.CellFault{Register: register, Bit: bit, Rule: rule, Kind: logic.Miscounts, State: state}})
	}
	return cells
}

// decoders lists the lines into the gates that depend on state, inverted.
func (m *Model) decoders(known []bool) (cells []Cell) {
	s := m.Circuit
	decodes := make([]bool, len(s.Nodes)) // depends on state
	listed := make([]bool, len(s.Nodes))
	for n, node := range s.Nodes {
		decodes[n] = node.Op == logic.State
		for _, in := range node.In {
			decodes[n] = decodes[n] || decodes[in]
		}
		if !decodes[n] || len(node.In) < 2 {
			continue
		}
		switch node.Op {
		case logic.And, logic.Nand, logic.Or, logic.Nor:
			for _, in := range node.In {
				if op := s.Nodes[in].Op; !listed[in] && known[in] && op != logic.State && op != logic.Input {
					listed[in] = true
					cells = append(cells, Cell{Inverted: in})
				}
			}
		}
	}
	return cells
}

// CellName says a cell fault in the definition's words.
func (m *Model) CellName(c *logic.Circuit, f Cell) string {
	if f.Inverted != 0 {
		return m.lineName(f.Inverted) + " inverted"
	}
	r := &c.Registers[f.Register]
	rules := c.Variant.Logic.Registers[f.Register].Rules
	who := r.Name
	if f.Bit != logic.AllBits && len(r.Bits) > 1 {
		if who = c.State[r.Bits[f.Bit]].Name; who != r.Name && c.State[r.Bits[f.Bit]].Pin != 0 {
			who += " of " + r.Name
		}
	}
	text := fmt.Sprintf("%s %s %q", who, f.Kind, rules[f.Rule].Text)
	switch f.Kind {
	case logic.Miscounts:
		text += fmt.Sprintf(" from %0*b", len(r.Bits), f.State)
	case logic.Obeys:
		if terms := c.Terms(r.Rules[f.Rule].When); f.Term != logic.AllTerms && len(terms) > 1 {
			text += ", whatever " + m.termName(c, terms[f.Term])
		}
	}
	return text
}

// termName names a term of a condition by its node of the circuit.
func (m *Model) termName(c *logic.Circuit, term int32) string {
	n := max(term, ^term)
	if name, ok := c.Named()[n]; ok {
		return name
	}
	return fmt.Sprintf("its %s gate", c.Nodes[n].Op)
}

// cellPanel makes a panel of a group of cell faults, all of rules or none.
func (m *Model) cellPanel(c *logic.Circuit, cells []Cell, group []int) panel {
	p := chips{c.NewMachine(), c}
	if cells[group[0]].Inverted != 0 {
		p = chips{m.Circuit.NewMachine(), m.Circuit}
	}
	for i, cell := range group {
		cells[cell].inject(p.machine, share(i, perFault(c)))
	}
	wake(p.machine)
	return p
}

func (f Cell) inject(m *logic.Machine, mask uint64) {
	if f.Inverted != 0 {
		m.Invert(f.Inverted, mask)
		return
	}
	m.Break(f.CellFault, mask)
}

// cellEvidence gives the evidence of cell faults.
func (m *Model) cellEvidence(c *logic.Circuit, cells []Cell, s *stimulus.Sequence) []Evidence {
	rules := rulesFirst(cells)
	evidence := func(cells []Cell) []Evidence {
		return witness(len(cells), perFault(c), s.Steps, func(group []int) panel { return m.cellPanel(c, cells, group) })
	}
	return append(evidence(cells[:rules]), evidence(cells[rules:])...)
}

// rulesFirst counts the faults of rules, which stand before those of decoders.
func rulesFirst(cells []Cell) int {
	if n := slices.IndexFunc(cells, func(f Cell) bool { return f.Inverted != 0 }); n >= 0 {
		return n
	}
	return len(cells)
}
