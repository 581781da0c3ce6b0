package logic

import (
	"slices"

	"chipassay/vectors/part"
)

// Slice gives what bears on the outputs that a node can make a difference to,
// through whatever registers: of eight flip-flops with a common clock, one. What is
// outside the slice has no effect on these outputs.
func (c *Circuit) Slice(node int32) (k Component) {
	reached := c.reach([]int32{node}, true)
	var outputs []int32
	for _, o := range c.Outputs {
		if reached[o.Node] {
			k.Outputs = k.Outputs.With(o.Pin, true)
			outputs = append(outputs, o.Node)
		}
	}
	needed := c.reach(outputs, false)
	for _, pin := range c.InputPins {
		k.Inputs = k.Inputs.With(pin, needed[c.Inputs[pin]])
	}
	for i, s := range c.State {
		if needed[s.Node] {
			k.State = append(k.State, i)
		}
	}
	for n, in := range needed {
		if in {
			k.Nodes = append(k.Nodes, int32(n))
		}
	}
	return k
}

// reach marks what nodes make a difference to, forward, or else depend on.
func (c *Circuit) reach(from []int32, forward bool) []bool {
	reached := make([]bool, len(c.Nodes))
	mark := func(n int32) (news bool) {
		if n >= 0 && !reached[n] {
			reached[n], news = true, true
		}
		return news
	}
	for _, n := range from {
		mark(n)
	}
	for more := true; more; {
		more = false
		spread := func(causes []int32, effects ...int32) {
			if !forward {
				causes, effects = effects, causes
			}
			if slices.ContainsFunc(causes, func(n int32) bool { return n >= 0 && reached[n] }) {
				for _, n := range effects {
					more = mark(n) || more
				}
			}
		}
		for n, node := range c.Nodes {
			spread(node.In, int32(n))
		}
		for _, r := range c.Registers {
			var bits []int32
			for _, b := range r.Bits {
				bits = append(bits, c.State[b].Node)
			}
			for _, rule := range r.Rules {
				if rule.Edge != part.Level {
					spread([]int32{rule.Clock}, bits...)
				}
				spread(append([]int32{rule.When}, rule.Next...), bits...)
			}
		}
	}
	return reached
}
