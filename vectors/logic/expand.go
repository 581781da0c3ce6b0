package logic

import (
	"encoding/binary"
	"slices"

	"chipassay/vectors/part"
)

// add makes a node, or finds the one that is its equal. Past the limit it
// stops growing; the caller checks the count.
func (k *compiler) add(op Op, in []int32) int32 {
	unique := op == Input || op == State
	if !unique {
		k.key = append(k.key[:0], byte(op))
		for _, i := range in {
			k.key = binary.LittleEndian.AppendUint32(k.key, uint32(i))
		}
		if n, ok := k.made[string(k.key)]; ok {
			return n
		}
	}
	if len(k.c.Nodes) > MaxNodes {
		return 0
	}
	k.c.Nodes = append(k.c.Nodes, Node{op, slices.Clone(in)})
	n := int32(len(k.c.Nodes) - 1)
	if !unique {
		k.made[string(k.key)] = n
	}
	return n
}

func (k *compiler) op(n int32) Op { return k.c.Nodes[n].Op }

func (k *compiler) not(a int32) int32 {
	switch k.op(a) {
	case Const0:
		return k.add(Const1, nil)
	case Const1:
		return k.add(Const0, nil)
	case Not:
		return k.c.Nodes[a].In[0]
	case And, Or, Xor:
		// an inverting gate is one gate
		inverting := map[Op]Op{And: Nand, Or: Nor, Xor: Xnor}
		return k.add(inverting[k.op(a)], k.c.Nodes[a].In)
	}
	return k.add(Not, []int32{a})
}

// gate makes And, Or or Xor of the inputs, without those that are constant.
func (k *compiler) gate(op Op, in []int32) int32 {
	neutral, forcing := Const1, Const0
	if op == Or {
		neutral, forcing = Const0, Const1
	}
	var kept []int32
	invert := false
	for _, a := range in {
		switch {
		case op == Xor && k.op(a) == Const0:
		case op == Xor && k.op(a) == Const1:
			invert = !invert
		case op != Xor && k.op(a) == neutral:
		case op != Xor && k.op(a) == forcing:
			return a
		default:
			kept = append(kept, a)
		}
	}
	var n int32
	switch len(kept) {
	case 0:
		n = k.add(map[Op]Op{And: Const1, Or: Const0, Xor: Const0}[op], nil)
	case 1:
		n = kept[0]
	default:
		n = k.add(op, kept)
	}
	if invert {
		return k.not(n)
	}
	return n
}

func (k *compiler) and(in ...int32) int32 { return k.gate(And, in) }
func (k *compiler) or(in ...int32) int32  { return k.gate(Or, in) }
func (k *compiler) xor(in ...int32) int32 { return k.gate(Xor, in) }

func (k *compiler) mux(sel, then, otherwise int32) int32 {
	switch {
	case k.op(sel) == Const1 || then == otherwise:
		return then
	case k.op(sel) == Const0:
		return otherwise
	case k.op(then) == Const1 && k.op(otherwise) == Const0:
		return sel
	case k.op(then) == Const0 && k.op(otherwise) == Const1:
		return k.not(sel)
	}
	return k.add(Mux, []int32{sel, then, otherwise})
}

func (k *compiler) constant(v byte) int32 {
	return k.add(map[byte]Op{'0': Const0, '1': Const1, 'x': ConstX, 'z': ConstZ}[v], nil)
}

// bits expands an expression, the most significant bit first.
func (k *compiler) bits(e part.Expr) []int32 {
	if len(k.c.Nodes) > MaxNodes {
		return make([]int32, e.Width())
	}
	switch e := e.(type) {
	case part.Const:
		var bits []int32
		for i := range len(e.Bits) {
			bits = append(bits, k.constant(e.Bits[i]))
		}
		return bits
	case part.Ref:
		return []int32{k.c.Signals[e.Signal]}
	case part.Concat:
		var bits []int32
		for _, p := range e.Parts {
			bits = append(bits, k.bits(p)...)
		}
		return bits
	case part.Not:
		return each(k.bits(e.X), k.not)
	case part.Gated:
		return k.gated(e)
	case part.Repeat:
		return slices.Repeat(k.bits(e.X), e.W)
	case part.Cond:
		sel := k.bits(e.If)[0]
		then, otherwise := k.bits(e.Then), k.bits(e.Else)
		for i := range then {
			then[i] = k.mux(sel, then[i], otherwise[i])
		}
		return then
	case part.Slice:
		bits := k.bits(e.X)
		return bits[len(bits)-1-e.Hi : len(bits)-e.Lo]
	case part.Select:
		return []int32{k.selectBit(k.bits(e.X), k.bits(e.Index))}
	case part.Binary:
		return k.binary(e)
	case part.Call:
		return k.call(e)
	}
	panic("logic: an expression of a kind unknown to Compile")
}

func each(bits []int32, f func(int32) int32) []int32 {
	out := make([]int32, len(bits))
	for i, b := range bits {
		out[i] = f(b)
	}
	return out
}

func (k *compiler) gated(e part.Gated) []int32 {
	op := map[string]Op{"&": And, "|": Or, "^": Xor}[e.Op]
	var operands [][]int32
	for _, x := range e.In {
		operands = append(operands, k.bits(x))
	}
	out := make([]int32, e.W)
	for i := range out {
		var in []int32
		for _, o := range operands {
			in = append(in, o[i])
		}
		out[i] = k.gate(op, in)
	}
	return out
}

// selectBit is a multiplexer as data sheets draw it: an AND gate for each input,
// with the address decoded, and an OR gate. An address past the last bit gives x.
func (k *compiler) selectBit(data, index []int32) int32 {
	var terms []int32
	for i := range 1 << len(index) {
		bit := k.constant('x')
		if i < len(data) {
			bit = data[len(data)-1-i]
		}
		terms = append(terms, k.and(append(k.minterm(index, i), bit)...))
	}
	return k.or(terms...)
}

// minterm gives the literals that are all 1 where the bus has the value n.
func (k *compiler) minterm(bus []int32, n int) []int32 {
	var literals []int32
	for i, b := range bus {
		if n>>(len(bus)-1-i)&1 == 0 {
			b = k.not(b)
		}
		literals = append(literals, b)
	}
	return literals
}

func (k *compiler) binary(e part.Binary) []int32 {
	x, y := k.bits(e.X), k.bits(e.Y)
	zero := k.constant('0')
	switch e.Op {
	case "+":
		sum, _ := k.add2(x, y, zero)
		return sum
	case "-":
		sum, _ := k.add2(x, each(y, k.not), k.constant('1'))
		return sum
	case "*":
		return k.product(x, y, e.W)
	case "<<", ">>":
		return k.shift(e.Op, x, y)
	case "==", "!=":
		var same []int32
		for i := range x {
			same = append(same, k.not(k.xor(x[i], y[i])))
		}
		equal := k.and(same...)
		if e.Op == "!=" {
			equal = k.not(equal)
		}
		return []int32{equal}
	}
	switch e.Op {
	case "<":
		return []int32{k.greater(y, x)}
	case ">":
		return []int32{k.greater(x, y)}
	case "<=":
		return []int32{k.not(k.greater(x, y))}
	}
	return []int32{k.not(k.greater(y, x))}
}

// add2 is a ripple of full adders; bits stand most significant first.
func (k *compiler) add2(x, y []int32, carry int32) (sum []int32, out int32) {
	sum = make([]int32, len(x))
	for i := len(x) - 1; i >= 0; i-- {
		half := k.xor(x[i], y[i])
		sum[i] = k.xor(half, carry)
		carry = k.or(k.and(x[i], y[i]), k.and(k.or(x[i], y[i]), carry)) // with the half sum it would be redundant in x - 1
	}
	return sum, carry
}

func (k *compiler) product(x, y []int32, w int) []int32 {
	zero := k.constant('0')
	sum := slices.Repeat([]int32{zero}, w)
	for i := range y {
		partial := slices.Repeat([]int32{zero}, w)
		for j := range x {
			if at := w - 1 - i - j; at >= 0 {
				partial[at] = k.and(x[len(x)-1-j], y[len(y)-1-i])
			}
		}
		sum, _ = k.add2(sum, partial, zero)
	}
	return sum
}

// shift moves by each bit of the amount in turn, zeros coming in.
func (k *compiler) shift(op string, x, amount []int32) []int32 {
	zero := k.constant('0')
	for i, a := range amount {
		by := 1 << min(len(amount)-1-i, 7)
		moved := slices.Repeat([]int32{zero}, len(x))
		for j := range x {
			from := j + by
			if op == ">>" {
				from = j - by
			}
			if from >= 0 && from < len(x) {
				moved[j] = x[from]
			}
		}
		for j := range x {
			moved[j] = k.mux(a, moved[j], x[j])
		}
		x = moved
	}
	return x
}

// greater is x > y, unsigned, decided from the least significant bit upward.
func (k *compiler) greater(x, y []int32) int32 {
	g := k.constant('0')
	for i := len(x) - 1; i >= 0; i-- {
		above := k.and(x[i], k.not(y[i]))
		same := k.not(k.xor(x[i], y[i]))
		g = k.or(above, k.and(same, g))
	}
	return g
}

func (k *compiler) call(e part.Call) []int32 {
	x := k.bits(e.X)
	switch e.Func {
	case "parity":
		return []int32{k.xor(x...)}
	case "any":
		return []int32{k.or(x...)}
	case "all":
		return []int32{k.and(x...)}
	}
	sum := slices.Repeat([]int32{k.constant('0')}, e.W)
	for _, b := range x {
		one := append(slices.Repeat([]int32{k.constant('0')}, e.W-1), b)
		sum, _ = k.add2(sum, one, k.constant('0'))
	}
	return sum
}
