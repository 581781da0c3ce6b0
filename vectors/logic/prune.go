package logic

import (
	"slices"

	"chipassay/vectors/part"
)

// prune takes out the nodes that nothing needs, such as the AND under a NAND.
// Inputs and state bits stay.
func (c *Circuit) prune() {
	needed := make([]bool, len(c.Nodes))
	var need func(n int32)
	need = func(n int32) {
		if n < 0 || needed[n] {
			return
		}
		needed[n] = true
		for _, in := range c.Nodes[n].In {
			need(in)
		}
	}
	for n, node := range c.Nodes {
		if node.Op == Input || node.Op == State {
			need(int32(n))
		}
	}
	for _, o := range c.Outputs {
		need(o.Node)
	}
	for _, n := range c.Never {
		need(n)
	}
	for _, s := range slices.Concat(c.Stable, c.Together) {
		need(s.While)
	}
	for _, r := range c.Registers {
		for _, rule := range r.Rules {
			if rule.Edge != part.Level {
				need(rule.Clock)
			}
			need(rule.When)
			for _, n := range rule.Next {
				need(n)
			}
		}
	}
	moved := make([]int32, len(c.Nodes))
	var kept []Node
	for n, node := range c.Nodes {
		moved[n] = -1
		if needed[n] {
			for i, in := range node.In {
				node.In[i] = moved[in]
			}
			moved[n] = int32(len(kept))
			kept = append(kept, node)
		}
	}
	c.Nodes = kept
	c.renumber(moved)
}

// renumber puts new node numbers wherever nodes are named.
func (c *Circuit) renumber(moved []int32) {
	at := func(n int32) int32 {
		if n < 0 {
			return n
		}
		return moved[n]
	}
	for pin, n := range c.Inputs {
		c.Inputs[pin] = at(n)
	}
	for i := range c.Outputs {
		c.Outputs[i].Node = at(c.Outputs[i].Node)
	}
	for i := range c.State {
		c.State[i].Node = at(c.State[i].Node)
	}
	for i := range c.Signals {
		c.Signals[i] = at(c.Signals[i])
	}
	for i := range c.Never {
		c.Never[i] = at(c.Never[i])
	}
	for i := range c.Stable {
		c.Stable[i].While = at(c.Stable[i].While)
	}
	for i := range c.Together {
		c.Together[i].While = at(c.Together[i].While)
	}
	for i := range c.Registers {
		rules := c.Registers[i].Rules
		for j := range rules {
			if rules[j].Edge != part.Level {
				rules[j].Clock = at(rules[j].Clock)
			}
			rules[j].When = at(rules[j].When)
			for b := range rules[j].Next {
				rules[j].Next[b] = at(rules[j].Next[b])
			}
		}
	}
}
