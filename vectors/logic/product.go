package logic

import (
	"errors"
	"slices"
)

// ErrNoProduct is a product term that a node does not have.
var ErrNoProduct = errors.New("no such product term")

// KillProduct takes a product term out of what makes a node, for all that is made of
// the same sum: it never becomes true any more. Terms count from 1 in the order of
// the definition's equation or table. Those of an OR are its inputs; those of a choice
// are what it comes to where the condition is true and then where it is not, each
// taken apart likewise; an AND is one. Behind inverters, enables and three-state
// enables they are the terms of what is inverted or let through, as data sheets draw
// an AND-OR-INVERT gate or a multiplexer.
//
// It is for a circuit of which no machine was made yet.
func (c *Circuit) KillProduct(node int32, term int) error {
	gate := c.sumOf(node)
	was := c.Nodes[gate]
	first := len(c.Nodes)
	k := killer{c: c, left: term}
	var killed int32
	switch was.Op {
	case Or, Nor:
		killed = k.among(gate, 0)
	case Mux:
		killed = k.among(gate, 1)
	case And:
		killed = k.product(gate, Const0)
	case Nand:
		killed = k.product(gate, Const1)
	default:
		return ErrNoProduct
	}
	if killed == gate {
		return ErrNoProduct
	}
	now := c.Nodes[killed]
	for n := range first {
		switch node := &c.Nodes[n]; { // an inverting gate is one of its own
		case slices.Equal(node.In, was.In) && node.Op == was.Op:
			*node = Node{now.Op, slices.Clone(now.In)}
		case slices.Equal(node.In, was.In) && node.Op == complement[was.Op]:
			*node = Node{complement[now.Op], slices.Clone(now.In)}
		default:
			continue
		}
		gate = min(gate, int32(n))
	}
	c.insert(first, gate)
	return nil
}

// complement is the operation that gives the inverse.
var complement = map[Op]Op{And: Nand, Nand: And, Or: Nor, Nor: Or, Const0: Const1, Const1: Const0}

// sumOf finds the gate whose products make a node: what inverts or enables it is left out.
func (c *Circuit) sumOf(n int32) int32 {
	node := c.Nodes[n]
	switch node.Op {
	case Not, Buf:
		return c.sumOf(node.In[0])
	case Mux:
		for i := 1; i <= 2; i++ {
			if c.Nodes[node.In[3-i]].Op == ConstZ {
				return c.sumOf(node.In[i])
			}
		}
	case And, Nand:
		isSum := func(in int32) bool { return c.Nodes[in].Op == Or || c.Nodes[in].Op == Mux }
		if i := slices.IndexFunc(node.In, isSum); i >= 0 && !slices.ContainsFunc(node.In[i+1:], isSum) {
			return node.In[i]
		}
	}
	return n
}

// A killer looks for a product term.
type killer struct {
	c    *Circuit
	left int // terms up to the one that is to be killed, with it
}

// sum gives a sum of products without the term, or the node itself.
func (k *killer) sum(n int32) int32 {
	switch k.c.Nodes[n].Op {
	case Const0, ConstX, ConstZ:
		return n
	case Or:
		return k.among(n, 0)
	case Mux:
		return k.among(n, 1)
	}
	return k.product(n, Const0)
}

// among looks for the term in the inputs of a node, from one of them on.
func (k *killer) among(n int32, first int) int32 {
	for i, in := range k.c.Nodes[n].In[first:] {
		if without := k.sum(in); without != in {
			inputs := slices.Clone(k.c.Nodes[n].In)
			inputs[first+i] = without
			return k.c.grow(k.c.Nodes[n].Op, inputs...)
		}
	}
	return n
}

// product counts a term, and gives what it comes to if it is the one.
func (k *killer) product(n int32, dead Op) int32 {
	if k.left--; k.left != 0 {
		return n
	}
	return k.c.grow(dead)
}

// insert moves the nodes from first on to before another one, which needs them.
func (c *Circuit) insert(first int, before int32) {
	grown := len(c.Nodes) - first
	moved := make([]int32, len(c.Nodes))
	for i := range moved {
		switch {
		case i >= first:
			moved[i] = before + int32(i-first)
		case i >= int(before):
			moved[i] = int32(i + grown)
		default:
			moved[i] = int32(i)
		}
	}
	nodes := make([]Node, len(c.Nodes))
	for i, node := range c.Nodes {
		for j := range node.In {
			node.In[j] = moved[node.In[j]]
		}
		nodes[moved[i]] = node
	}
	c.Nodes = nodes
	c.renumber(moved)
}
