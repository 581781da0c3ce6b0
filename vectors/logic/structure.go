package logic

import (
	"slices"

	"chipassay/vectors/part"
)

// Support gives the input pins that nodes depend on without passing through a register.
func (c *Circuit) Support(nodes ...int32) (pins part.Pins) {
	cone := c.Cone(nodes...)
	for pin, n := range c.Inputs {
		pins = pins.With(pin, cone[n])
	}
	return pins
}

// Cone marks the nodes that nodes depend on without passing through a register,
// themselves among them; what is negative is no node.
func (c *Circuit) Cone(nodes ...int32) []bool {
	cone := make([]bool, len(c.Nodes))
	for rest := slices.Clone(nodes); len(rest) > 0; {
		n := rest[len(rest)-1]
		rest = rest[:len(rest)-1]
		if n >= 0 && !cone[n] {
			cone[n] = true
			rest = append(rest, c.Nodes[n].In...)
		}
	}
	return cone
}

// Counts reports whether what a rule gives depends on the register's own state, and
// is not that state left as it is.
func (c *Circuit) Counts(r *Register, rule *Rule) bool {
	own := map[int32]bool{}
	holds := true
	for i, b := range r.Bits {
		own[c.State[b].Node] = true
		holds = holds && rule.Next[i] == c.State[b].Node
	}
	if holds {
		return false
	}
	for n, in := range c.Cone(rule.Next...) {
		if in && own[int32(n)] {
			return true
		}
	}
	return false
}

// Clocks gives the input pins that registers' clocks depend on.
func (c *Circuit) Clocks() part.Pins {
	return c.ruleSupport(func(r Rule) (node int32, ok bool) { return r.Clock, r.Edge != part.Level })
}

// Asynchronous gives the input pins on which level-sensitive rules depend: set,
// clear, and the enables of latches.
func (c *Circuit) Asynchronous() part.Pins {
	return c.ruleSupport(func(r Rule) (node int32, ok bool) { return r.When, r.Edge == part.Level })
}

func (c *Circuit) ruleSupport(pick func(Rule) (int32, bool)) part.Pins {
	var nodes []int32
	for _, r := range c.Registers {
		for _, rule := range r.Rules {
			if n, ok := pick(rule); ok {
				nodes = append(nodes, n)
			}
		}
	}
	return c.Support(nodes...)
}

// A Component is a part of the chip that shares no pin and no register with the rest.
type Component struct {
	Inputs  part.Pins
	Outputs part.Pins
	State   []int   // indexes into Circuit.State
	Nodes   []int32 // ascending
}

// Components takes the chip apart into what is independent: the two flip-flops
// of a 7474, the one counter of a 74161. They come in the order of their lowest pin.
func (c *Circuit) Components() []Component {
	root := make([]int32, len(c.Nodes))
	for i := range root {
		root[i] = int32(i)
	}
	var find func(n int32) int32
	find = func(n int32) int32 {
		if root[n] != n {
			root[n] = find(root[n])
		}
		return root[n]
	}
	join := func(a, b int32) {
		if a >= 0 && b >= 0 && !c.constant(a) && !c.constant(b) {
			root[find(a)] = find(b)
		}
	}
	for n, node := range c.Nodes {
		for _, in := range node.In {
			join(int32(n), in)
		}
	}
	for _, r := range c.Registers {
		first := c.State[r.Bits[0]].Node
		for _, b := range r.Bits {
			join(first, c.State[b].Node)
		}
		for _, rule := range r.Rules {
			if rule.Edge != part.Level {
				join(first, rule.Clock)
			}
			join(first, rule.When)
			for i, n := range rule.Next {
				join(c.State[r.Bits[i]].Node, n)
			}
		}
	}
	return c.collect(find)
}

func (c *Circuit) constant(n int32) bool {
	op := c.Nodes[n].Op
	return op == Const0 || op == Const1 || op == ConstX || op == ConstZ
}

// collect gathers pins and state bits by the root of their nodes.
func (c *Circuit) collect(find func(int32) int32) []Component {
	var components []Component
	index := map[int32]int{}
	of := func(n int32) *Component {
		r := find(n)
		i, ok := index[r]
		if !ok {
			i = len(components)
			index[r] = i
			components = append(components, Component{})
		}
		return &components[i]
	}
	outputs := map[int]int32{}
	for _, o := range c.Outputs {
		outputs[o.Pin] = o.Node
	}
	defer func() {
		for n := range c.Nodes {
			if i, ok := index[find(int32(n))]; ok {
				components[i].Nodes = append(components[i].Nodes, int32(n))
			}
		}
	}()
	for _, p := range c.Variant.Pins {
		if n, ok := c.Inputs[p.Number]; ok {
			k := of(n)
			k.Inputs = k.Inputs.With(p.Number, true)
		}
		if n, ok := outputs[p.Number]; ok {
			k := of(n)
			k.Outputs = k.Outputs.With(p.Number, true)
		}
	}
	for i, s := range c.State {
		k := of(s.Node)
		k.State = append(k.State, i)
	}
	return components
}
