package fault

import (
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// told marks the nodes of which the data sheet tells what they do: those that reach
// an output otherwise than by choosing between a level and one that is not told. A
// fault of the others leads to nothing certain, so no model has them.
func told(c *logic.Circuit) []bool {
	t := teller{c: c, told: make([]bool, len(c.Nodes)), bit: map[int32][2]int{}}
	for i, r := range c.Registers {
		for j, b := range r.Bits {
			t.bit[c.State[b].Node] = [2]int{i, j}
		}
	}
	for _, o := range c.Outputs {
		t.visit(o.Node)
	}
	return t.told
}

type teller struct {
	c    *logic.Circuit
	told []bool
	bit  map[int32][2]int // register and bit of each State node
}

func (t *teller) visit(n int32) {
	if n < 0 || t.told[n] {
		return
	}
	t.told[n] = true
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

// open tells whether a level is not told.
func (t *teller) open(n int32) bool {
	for t.c.Nodes[n].Op == logic.Buf {
		n = t.c.Nodes[n].In[0]
	}
	return t.c.Nodes[n].Op == logic.ConstX
}
