package fault

import (
	"fmt"
	"slices"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A Line is a single stuck-at fault of the logic model: one line, a stem or a
// fan-out branch, stuck at 0 or at 1.
type Line struct {
	Node  int32
	Value logic.Value // Zero or One
}

// A Class is a set of stuck-at faults that no test can tell apart by their effect
// on a gate's output. The first stands for all.
type Class []Line

// A Model is the logic model of a part for single stuck-at faults, after
// MIL-STD-883 method 5012: every line of the definition's gates and registers,
// fan-out branches counted apart, collapsed into equivalence classes.
type Model struct {
	Circuit *logic.Circuit // spread: each line is one node
	Lines   int            // stuck-at faults before collapsing
	Classes []Class
	names   map[int32]string
}

// NewModel lists the faults of a circuit and collapses them.
func NewModel(c *logic.Circuit) *Model {
	s := c.Spread()
	m := &Model{Circuit: s, names: s.Named()}
	class := newPartition(2 * len(s.Nodes))
	fanOut := s.FanOut()
	for n, node := range s.Nodes {
		for _, in := range node.In {
			if fanOut[in] == 1 {
				class.joinThrough(node.Op, int(in), n)
			}
		}
	}
	index := map[int]int{}
	known := specified(s)
	for n, node := range s.Nodes {
		if node.Op <= logic.ConstZ || !known[n] {
			continue
		}
		for _, v := range []logic.Value{logic.Zero, logic.One} {
			m.Lines++
			root := class.find(key(n, v))
			i, ok := index[root]
			if !ok {
				i = len(m.Classes)
				index[root] = i
				m.Classes = append(m.Classes, nil)
			}
			m.Classes[i] = append(m.Classes[i], Line{int32(n), v})
		}
	}
	return m
}

// key numbers the stuck-at faults of the nodes.
func key(n int, v logic.Value) int {
	if v == logic.One {
		return 2*n + 1
	}
	return 2 * n
}

// A partition joins equal things into classes.
type partition []int

func newPartition(n int) partition {
	p := make(partition, n)
	for i := range p {
		p[i] = i
	}
	return p
}

func (p partition) find(i int) int {
	for p[i] != i {
		p[i] = p[p[i]]
		i = p[i]
	}
	return i
}

func (p partition) join(i, j int) { p[p.find(i)] = p.find(j) }

// joinThrough joins the faults of a gate's input with those of its output that
// have the same effect: an input of an AND stuck at 0 is its output stuck at 0.
func (p partition) joinThrough(op logic.Op, in, out int) {
	switch op {
	case logic.Buf:
		p.join(key(in, logic.Zero), key(out, logic.Zero))
		p.join(key(in, logic.One), key(out, logic.One))
	case logic.Not:
		p.join(key(in, logic.Zero), key(out, logic.One))
		p.join(key(in, logic.One), key(out, logic.Zero))
	case logic.And:
		p.join(key(in, logic.Zero), key(out, logic.Zero))
	case logic.Nand:
		p.join(key(in, logic.Zero), key(out, logic.One))
	case logic.Or:
		p.join(key(in, logic.One), key(out, logic.One))
	case logic.Nor:
		p.join(key(in, logic.One), key(out, logic.Zero))
	}
}

// Name says a stuck-at fault with the names of the definition.
func (m *Model) Name(l Line) string {
	return fmt.Sprintf("%s stuck at %s", m.lineName(l.Node), l.Value)
}

func (m *Model) lineName(n int32) string {
	if name, ok := m.names[n]; ok {
		return name
	}
	node := m.Circuit.Nodes[n]
	if node.Op == logic.Buf {
		return fmt.Sprintf("branch of %s to %s", m.lineName(node.In[0]), m.reader(n))
	}
	return fmt.Sprintf("%s gate %d", node.Op, n)
}

// reader names what a branch feeds.
func (m *Model) reader(n int32) string {
	for i, node := range m.Circuit.Nodes {
		if slices.Contains(node.In, n) {
			if name, ok := m.names[int32(i)]; ok {
				return name
			}
			return fmt.Sprintf("%s gate %d", node.Op, i)
		}
	}
	for _, r := range m.Circuit.Registers {
		for _, rule := range r.Rules {
			if rule.When == n || rule.Edge != part.Level && rule.Clock == n || slices.Contains(rule.Next, n) {
				return "register " + r.Name
			}
		}
	}
	return "an output"
}

// Detected reports for each class whether the sequence detects it: whether the
// faulty chip shows, from each of powerUps states at power-up, a known wrong value
// at a compared pin.
func (m *Model) Detected(s *stimulus.Sequence) []bool {
	var detected []bool
	for _, e := range m.evidence(s) {
		detected = append(detected, e.Once > 0)
	}
	return detected
}

// evidence gives the evidence of each class.
func (m *Model) evidence(s *stimulus.Sequence) []Evidence {
	return witness(len(m.Classes), perFault(m.Circuit), s.Steps, m.linePanel)
}

// linePanel makes a panel of a group of classes.
func (m *Model) linePanel(group []int) panel {
	machine := m.Circuit.NewMachine()
	for i, class := range group {
		m.Classes[class][0].inject(machine, share(i, perFault(m.Circuit)))
	}
	wake(machine)
	return chips{machine, m.Circuit}
}

// drive sets the inputs of all lanes to a step's levels and settles. A
// bidirectional pin that the adapter leaves alone carries what the chip drives.
func drive(m *logic.Machine, c *logic.Circuit, st stimulus.Step) {
	turning := false
	for _, pin := range c.InputPins {
		switch {
		case st.Driven.Has(pin):
			m.Set(pin, logic.Splat(logic.FromBool(st.Drive.Has(pin))))
		default:
			m.Set(pin, undriven(m.Out(pin), c.Variant.Pins[pin-1]))
			turning = true
		}
	}
	m.Settle()
	if !turning {
		return
	}
	for _, pin := range c.InputPins {
		if !st.Driven.Has(pin) {
			m.Set(pin, undriven(m.Out(pin), c.Variant.Pins[pin-1]))
		}
	}
	m.Settle()
}

// undriven is the level at a pin that the adapter leaves alone: what the chip drives
// there, or else what a resistor inside holds it at.
func undriven(w logic.Word, p part.Pin) logic.Word {
	if p.PullUp {
		w.Hi |= ^(w.Hi | w.Lo)
	}
	return w
}
