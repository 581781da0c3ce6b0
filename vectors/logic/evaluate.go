package logic

// A gate is a node laid out for evaluation: most have two inputs.
type gate struct {
	op      Op
	a, b, c int32   // the first inputs; b repeats a where there is one
	more    []int32 // those behind the first two, but for Mux
}

// layOut makes gates of the nodes, once for a circuit.
func layOut(nodes []Node) []gate {
	gates := make([]gate, len(nodes))
	for n, node := range nodes {
		g := gate{op: node.Op}
		switch in := node.In; {
		case len(in) == 0:
		case node.Op == Mux:
			g.a, g.b, g.c = in[0], in[1], in[2]
		case len(in) == 1:
			g.a, g.b = in[0], in[0]
		default:
			g.a, g.b, g.more = in[0], in[1], in[2:]
		}
		gates[n] = g
	}
	return gates
}

// evaluate computes every gate from the inputs and the state, and makes what is
// stuck stuck.
func (m *Machine) evaluate() {
	level := m.level
	for n := range m.gates {
		g := &m.gates[n]
		var w Word
		switch g.op {
		case Input, State:
			w = level[n]
		case Buf:
			w = level[g.a]
		case Not:
			w = level[g.a].not()
		case And, Nand:
			w = level[g.a].and(level[g.b])
			for _, i := range g.more {
				w = w.and(level[i])
			}
			if g.op == Nand {
				w = w.not()
			}
		case Or, Nor:
			w = level[g.a].or(level[g.b])
			for _, i := range g.more {
				w = w.or(level[i])
			}
			if g.op == Nor {
				w = w.not()
			}
		case Xor, Xnor:
			w = level[g.a].xor(level[g.b])
			for _, i := range g.more {
				w = w.xor(level[i])
			}
			if g.op == Xnor {
				w = w.not()
			}
		case Mux:
			w = choose(level[g.a], level[g.b], level[g.c])
		case Const0:
			w = Splat(Zero)
		case Const1:
			w = Splat(One)
		case ConstX:
			w = Splat(X)
		}
		if m.forced != nil {
			if f := m.forced[n]; f != 0 {
				w = m.forces[f-1].on(w)
			}
		}
		level[n] = w
	}
}

func (w Word) not() Word       { return Word{w.Lo, w.Hi} }
func (w Word) and(b Word) Word { return Word{w.Hi & b.Hi, w.Lo | b.Lo} }
func (w Word) or(b Word) Word  { return Word{w.Hi | b.Hi, w.Lo & b.Lo} }
func (w Word) xor(b Word) Word { return Word{w.Hi&b.Lo | w.Lo&b.Hi, w.Hi&b.Hi | w.Lo&b.Lo} }

// choose is a multiplexer: where the selector is unknown the result is known
// only if both values agree, and unknown if one of them is released.
func choose(sel, then, otherwise Word) Word {
	w := Word{sel.Hi&then.Hi | sel.Lo&otherwise.Hi, sel.Hi&then.Lo | sel.Lo&otherwise.Lo}
	unsure := sel.Hi & sel.Lo
	released := unsure & (^(then.Hi | then.Lo) ^ ^(otherwise.Hi | otherwise.Lo))
	return Word{w.Hi | released, w.Lo | released}
}
