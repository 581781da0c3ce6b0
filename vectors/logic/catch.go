package logic

import (
	"errors"
	"fmt"

	"chipassay/vectors/part"
)

// ErrNoMaster is a register that is not of J-K flip-flops, so that it cannot catch ones.
var ErrNoMaster = errors.New("catches no ones")

// CatchOnes makes master-slave flip-flops of a register of J-K flip-flops, as data
// books draw them for pulse-triggered parts (the 7472's schematic and the note
// below its function table; from memory): a master that is open during the pulse and
// a slave that takes it over as the pulse ends. What is at J, while the slave holds a
// 0, sets the master, and what is at K, while it holds a 1, clears it; each is gated
// with the slave, so that nothing of the same pulse undoes it. A 1 that is gone
// again by the end of the pulse is caught.
//
// The register's rules have one clock: the pulse is its high level, and the low one
// where they act on its rise. It is for a circuit of which no machine was made yet.
func (c *Circuit) CatchOnes(register int) error {
	r := &c.Registers[register]
	clock, err := c.masterClock(r)
	if err != nil {
		return err
	}
	var levels, edges []Rule
	for _, rule := range r.Rules {
		if rule.Edge == part.Level {
			levels = append(levels, rule)
		} else {
			edges = append(edges, rule)
		}
	}
	idle := clock.Clock
	if clock.Edge != part.Rise {
		idle = c.grow(Not, idle)
	}
	slave := Rule{Edge: clock.Edge, Clock: clock.Clock, When: -1}
	for i, b := range r.Bits {
		bit := c.State[b]
		master := c.grow(State)
		slave.Next = append(slave.Next, master)
		one := func(when, next int32) Rule { return Rule{Edge: part.Level, When: when, Next: []int32{next}} }
		var rules []Rule
		for _, rule := range levels {
			rules = append(rules, one(rule.When, rule.Next[i]))
		}
		rules = append(rules, one(idle, bit.Node))
		for _, rule := range edges {
			turned := c.grow(Xor, rule.Next[i], bit.Node)
			rules = append(rules, one(rule.When, c.grow(Mux, turned, rule.Next[i], master)))
		}
		name := "master of " + bit.Name
		c.State = append(c.State, StateBit{Name: name, Node: master})
		c.Registers = append(c.Registers, Register{Name: name, Bits: []int{len(c.State) - 1}, Rules: rules})
	}
	c.Registers[register].Rules = append(levels, slave) // r may have moved
	return nil
}

// MayCatchOnes gives the error, an ErrNoMaster, of a register that is not of J-K flip-flops.
func (c *Circuit) MayCatchOnes(register int) error {
	_, err := c.masterClock(&c.Registers[register])
	return err
}

// grow adds a node behind all others.
func (c *Circuit) grow(op Op, in ...int32) int32 {
	c.Nodes = append(c.Nodes, Node{op, in})
	return int32(len(c.Nodes) - 1)
}

// masterClock gives a rule with the edge and the clock of all rules that have one.
func (c *Circuit) masterClock(r *Register) (clock Rule, err error) {
	turns := false // as a J-K flip-flop alone does, with both inputs high
	for _, rule := range r.Rules {
		switch {
		case rule.Edge == part.Level:
			continue
		case clock.Edge == part.Level:
			clock = rule
		case rule.Edge != clock.Edge || rule.Clock != clock.Clock:
			return clock, fmt.Errorf("%s %w: it has several clocks", r.Name, ErrNoMaster)
		}
		for i, next := range rule.Next {
			switch node, bit := c.Nodes[next], c.State[r.Bits[i]].Node; {
			case node.Op == Not && node.In[0] == bit:
				turns = true
			case node.Op != Const0 && node.Op != Const1 && next != bit:
				return clock, fmt.Errorf("%s %w: it is not of J-K flip-flops", r.Name, ErrNoMaster)
			}
		}
	}
	switch {
	case clock.Edge == part.Level:
		return clock, fmt.Errorf("%s %w: it has no clock", r.Name, ErrNoMaster)
	case !turns:
		return clock, fmt.Errorf("%s %w: it is not of J-K flip-flops", r.Name, ErrNoMaster)
	}
	return clock, nil
}
