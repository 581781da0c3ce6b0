package fault

import (
	"slices"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// A region is what a line of the logic can make a difference to, and what that
// depends on.
type region struct {
	support
	c         *logic.Circuit
	outputs   []int // pins
	registers []int // indexes into Circuit.Registers
}

// regionOf finds what a node reaches without passing through a register.
func regionOf(c *logic.Circuit, node int32) region {
	g := region{c: c}
	reached := make([]bool, len(c.Nodes))
	reached[node] = true
	for n, in := range c.Nodes {
		for _, i := range in.In {
			reached[n] = reached[n] || reached[i]
		}
	}
	var nodes []int32
	for _, o := range c.Outputs {
		if reached[o.Node] {
			g.outputs, nodes = append(g.outputs, o.Pin), append(nodes, o.Node)
		}
	}
	for i, r := range c.Registers {
		if of := nodesOf(c, &r); slices.ContainsFunc(of, func(n int32) bool { return n >= 0 && reached[n] }) {
			g.registers, nodes = append(g.registers, i), append(nodes, of...)
			for _, rule := range r.Rules {
				if rule.Edge != part.Level {
					g.addClock(rule.Clock)
				}
			}
		}
	}
	g.variables(c, nodes)
	return g
}

// nodesOf gives the nodes that a register's next state depends on at once.
func nodesOf(c *logic.Circuit, r *logic.Register) (nodes []int32) {
	for _, rule := range r.Rules {
		if rule.Edge != part.Level {
			nodes = append(nodes, rule.Clock)
		}
		nodes = append(append(nodes, rule.When), rule.Next...)
	}
	for _, b := range r.Bits {
		nodes = append(nodes, c.State[b].Node)
	}
	return nodes
}

// redundant reports whether it is proven that a fault of a line makes no difference:
// under no levels of the inputs and the state, and at no edge, is an output or the
// next state of a register another one for certain. States that cannot be reached
// count too, unless they are known: reachable gives those of each register.
func redundant(c *logic.Circuit, f breaker, node int32, reachable []map[uint64]bool) bool {
	g := regionOf(c, node)
	if !g.small() {
		return false
	}
	good, bad := c.NewMachine(), c.NewMachine()
	f.inject(bad, ^uint64(0))
	return g.each(c, []*logic.Machine{good, bad}, func() bool {
		allowed := ^uint64(0)
		for _, i := range g.registers {
			if known(g.states, c.Registers[i].Bits) {
				allowed &= within(good, c, &c.Registers[i], reachable[i])
			}
		}
		return g.differs(good, bad)&allowed == 0
	})
}

// known reports whether all bits of a register are among some.
func known(states, bits []int) bool {
	return !slices.ContainsFunc(bits, func(b int) bool { return !slices.Contains(states, b) })
}

// differs gives the lanes in which an output or a next state differs for certain.
func (g *region) differs(good, bad *logic.Machine) (lanes uint64) {
	compare := func(g, b logic.Word) {
		unsure := g.Hi&g.Lo | b.Hi&b.Lo
		lanes |= ((g.Hi ^ b.Hi) | (g.Lo ^ b.Lo)) &^ unsure
	}
	for _, pin := range g.outputs {
		compare(good.Out(pin), bad.Out(pin))
	}
	for _, i := range g.registers {
		for bit := range g.c.Registers[i].Bits {
			compare(good.Next(i, bit), bad.Next(i, bit))
		}
	}
	return lanes
}
