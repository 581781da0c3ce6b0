package logic

import (
	"slices"

	"chipassay/vectors/part"
)

// Spread gives the same circuit with every fan-out branch as a line of its own:
// a node that feeds several places feeds each through a Buf, and so does a bit of
// state. So each line of the
// logic model is one node, and a stuck line is a stuck node.
func (c *Circuit) Spread() *Circuit {
	fanOut := c.FanOut()
	s := &Circuit{Variant: c.Variant, Inputs: map[int]int32{}, InputPins: c.InputPins, Signals: slices.Clone(c.Signals)}
	moved := make([]int32, len(c.Nodes))
	// branch gives the line by which a node feeds one more place
	branch := func(n int32) int32 {
		if n < 0 {
			return n
		}
		if fanOut[n] < 2 && c.Nodes[n].Op != State || c.constant(n) {
			return moved[n]
		}
		s.Nodes = append(s.Nodes, Node{Buf, []int32{moved[n]}})
		return int32(len(s.Nodes) - 1)
	}
	for n, node := range c.Nodes {
		var in []int32
		for _, i := range node.In {
			in = append(in, branch(i))
		}
		s.Nodes = append(s.Nodes, Node{node.Op, in})
		moved[n] = int32(len(s.Nodes) - 1)
	}
	for pin, n := range c.Inputs {
		s.Inputs[pin] = moved[n]
	}
	for i, n := range s.Signals {
		if n >= 0 {
			s.Signals[i] = moved[n]
		}
	}
	for _, b := range c.State {
		b.Node = moved[b.Node]
		s.State = append(s.State, b)
	}
	for _, o := range c.Outputs {
		o.Node = branch(o.Node)
		s.Outputs = append(s.Outputs, o)
	}
	for _, r := range c.Registers {
		s.Registers = append(s.Registers, r.spread(branch))
	}
	s.prune() // what only marked forbidden combinations is no part of the chip
	return s
}

func (r Register) spread(branch func(int32) int32) Register {
	rules := slices.Clone(r.Rules)
	for i, rule := range rules {
		if rule.Edge != part.Level {
			rules[i].Clock = branch(rule.Clock)
		}
		rules[i].When = branch(rule.When)
		rules[i].Next = nil
		for _, n := range rule.Next {
			rules[i].Next = append(rules[i].Next, branch(n))
		}
	}
	r.Rules = rules
	return r
}

// FanOut counts the places that each node feeds: gates, outputs and registers.
// What only marks forbidden combinations is no part of the chip and does not count.
func (c *Circuit) FanOut() []int {
	count := make([]int, len(c.Nodes))
	feed := func(n int32) {
		if n >= 0 {
			count[n]++
		}
	}
	for _, node := range c.Nodes {
		for _, i := range node.In {
			feed(i)
		}
	}
	for _, o := range c.Outputs {
		feed(o.Node)
	}
	for _, r := range c.Registers {
		for _, rule := range r.Rules {
			if rule.Edge != part.Level {
				feed(rule.Clock)
			}
			feed(rule.When)
			for _, n := range rule.Next {
				feed(n)
			}
		}
	}
	return count
}

// Named gives the names of nodes that the definition names: pins and inner names.
func (c *Circuit) Named() map[int32]string {
	names := map[int32]string{}
	for i, n := range slices.Backward(c.Signals) {
		if n >= 0 {
			names[n] = c.Variant.Logic.Signals[i].Name
		}
	}
	for _, o := range c.Outputs {
		names[o.Node] = c.Variant.Pins[o.Pin-1].Name
	}
	for pin, n := range c.Inputs {
		names[n] = c.Variant.Pins[pin-1].Name
	}
	return names
}
