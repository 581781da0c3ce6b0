package fault

import (
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// specified marks the nodes whose effect the data sheet specifies: those that reach an
// output otherwise than by choosing between a level and one that is left open. A fault
// of the others leads to nothing certain, so no model has them.
func specified(c *logic.Circuit) []bool {
	t := specifier{c: c, known: make([]bool, len(c.Nodes)), bit: map[int32][2]int{}}
	for i, r := range c.Registers {
		for j, b := range r.Bits {
			t.bit[c.State[b].Node] = [2]int{i, j}
		}
	}
	for _, o := range c.Outputs {
		t.visit(o.Node)
	}
	return t.known
}

type specifier struct {
	c     *logic.Circuit
	known []bool
	bit   map[int32][2]int // register and bit of each State node
}

func (t *specifier) visit(n int32) {
	if n < 0 || t.known[n] {
		return
	}
	t.known[n] = true
	node := t.c.Nodes[n]
	if node.Op == logic.Mux && (t.open(node.In[1]) || t.open(node.In[2])) {
		t.visit(node.In[1])
		t.visit(node.In[2])
		return
	}
	for _, in := range node.In {
		t.visit(in)
	}
	at, ok := t.bit[n]
	if !ok {
		return
	}
	for _, rule := range t.c.Registers[at[0]].Rules {
		next := rule.Next[at[1]]
		if t.open(next) {
			continue
		}
		t.visit(next)
		t.visit(rule.When)
		if rule.Edge != part.Level {
			t.visit(rule.Clock)
		}
	}
}

// open reports whether the data sheet leaves a level open.
func (t *specifier) open(n int32) bool {
	for t.c.Nodes[n].Op == logic.Buf {
		n = t.c.Nodes[n].In[0]
	}
	return t.c.Nodes[n].Op == logic.ConstX
}
