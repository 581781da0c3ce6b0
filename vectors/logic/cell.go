package logic

import "chipassay/vectors/part"

// A CellFault is something wrong with how one bit of a register, or all its bits,
// obeys one of the register's rules.
type CellFault struct {
	Register int // index into Circuit.Registers
	Bit      int // index into Register.Bits, most significant first; AllBits for the whole register
	Rule     int // index into Register.Rules
	Kind     CellFaultKind
	Term     int    // Obeys: index into Circuit.Terms of the rule; AllTerms for the whole condition
	State    uint64 // Miscounts: where the register stands, its most significant bit first
}

// AllBits and AllTerms stand for every bit of a register and every term of a condition.
const (
	AllBits  = -1
	AllTerms = -1
)

// A CellFaultKind says how a bit disobeys a rule.
type CellFaultKind uint8

// The cell faults.
const (
	Ignores   CellFaultKind = iota // the rule is not there for the bit: those after it may apply
	Holds                          // where the rule applies, the bit keeps its level
	Inverts                        // it takes the complement of what the rule gives
	Obeys                          // the rule applies though a term of its condition is false, the edge given
	OtherEdge                      // the rule applies at the other edge of its clock
	BothEdges                      // the rule applies at both edges
	Miscounts                      // from one state of the register the bit comes out wrong
)

func (k CellFaultKind) String() string {
	return [...]string{"ignores", "holds at", "inverts", "obeys always", "obeys at the other edge", "obeys at both edges", "miscounts at"}[k]
}

// broken is a cell fault in the lanes of a mask.
type broken struct {
	CellFault
	lanes uint64
	terms []int32 // Obeys: what is left of the condition, as literals of terms
}

// Break puts a cell fault into the lanes of a mask.
func (m *Machine) Break(f CellFault, lanes uint64) {
	if m.broken == nil {
		m.broken = make([][][]broken, len(m.c.Registers))
	}
	r := &m.c.Registers[f.Register]
	if m.broken[f.Register] == nil {
		m.broken[f.Register] = make([][]broken, len(r.Bits))
	}
	for i := range r.Bits {
		if f.Bit == i || f.Bit == AllBits {
			m.broken[f.Register][i] = append(m.broken[f.Register][i], m.c.broken(f, lanes))
		}
	}
}

func (c *Circuit) broken(f CellFault, lanes uint64) broken {
	b := broken{CellFault: f, lanes: lanes}
	if f.Kind == Obeys && f.Term != AllTerms {
		for i, t := range c.Terms(c.Registers[f.Register].Rules[f.Rule].When) {
			if i != f.Term {
				b.terms = append(b.terms, t)
			}
		}
	}
	return b
}

// Differs gives the lanes in which a cell fault would make a good chip's register
// take another state next, for certain, from the levels and edges at hand.
func (m *Machine) Differs(f CellFault) (lanes uint64) {
	r, before := &m.c.Registers[f.Register], m.before[f.Register]
	faults := []broken{m.c.broken(f, ^uint64(0))}
	for i := range r.Bits {
		if f.Bit != i && f.Bit != AllBits {
			continue
		}
		good, bad := m.nextBit(r, i, before, nil), m.nextBit(r, i, before, faults)
		unsure := good.Hi&good.Lo | bad.Hi&bad.Lo
		lanes |= (good.Hi ^ bad.Hi) &^ unsure
	}
	return lanes
}

// Next gives the level that bit i of a register takes next, from the levels and
// edges at hand, were all registers good.
func (m *Machine) Next(register, i int) Word {
	return m.nextBit(&m.c.Registers[register], i, m.before[register], nil)
}

// Arm makes the present level of a clock the outcome of an edge that no register
// has answered yet.
func (m *Machine) Arm(clock int32) {
	for i, r := range m.c.Registers {
		for j, rule := range r.Rules {
			if rule.Edge != part.Level && rule.Clock == clock {
				m.before[i][j] = m.level[clock].known().not()
			}
		}
	}
}

// Terms takes a condition apart into the terms that must all hold: n for a node
// that must be 1, ^n for one that must be 0. A condition that is no conjunction is
// a single term; none (-1) has none.
func (c *Circuit) Terms(when int32) []int32 {
	if when < 0 {
		return nil
	}
	return c.appendTerms(nil, when, false)
}

func (c *Circuit) appendTerms(terms []int32, n int32, inverted bool) []int32 {
	node := c.Nodes[n]
	switch {
	case node.Op == Buf:
		return c.appendTerms(terms, node.In[0], inverted)
	case node.Op == Not:
		return c.appendTerms(terms, node.In[0], !inverted)
	case node.Op == And && !inverted, node.Op == Nand && inverted:
		for _, in := range node.In {
			terms = c.appendTerms(terms, in, false)
		}
		return terms
	case node.Op == Nor && !inverted, node.Op == Or && inverted:
		for _, in := range node.In {
			terms = c.appendTerms(terms, in, true)
		}
		return terms
	case inverted:
		return append(terms, ^n)
	}
	return append(terms, n)
}

// holds gives the level of a conjunction of terms, as Circuit.Terms writes them.
func (m *Machine) holds(terms []int32) Word {
	w := Splat(One)
	for _, t := range terms {
		if t < 0 {
			w = w.and(m.level[^t].known().not())
		} else {
			w = w.and(m.level[t].known())
		}
	}
	return w
}

// nextBit works out the next level of bit i of a register.
func (m *Machine) nextBit(r *Register, i int, before []Word, faults []broken) (next Word) {
	open := ^uint64(0) // lanes in which no rule has applied for certain
	for j := range r.Rules {
		rule := &r.Rules[j]
		may, must := m.applies(rule, before[j])
		w := m.level[rule.Next[i]].known()
		for k := range faults {
			if f := &faults[k]; f.Rule == j {
				may, must, w = m.disobey(f, r, i, before[j], may, must, w)
			}
		}
		may &= open
		next.Hi |= w.Hi & may
		next.Lo |= w.Lo & may
		open &^= must
	}
	hold := m.level[m.c.State[r.Bits[i]].Node]
	return Word{next.Hi | hold.Hi&open, next.Lo | hold.Lo&open}
}

// disobey is what a cell fault makes of a rule for bit i: where it may and must
// apply, and the level that it gives.
func (m *Machine) disobey(f *broken, r *Register, i int, before Word, may, must uint64, w Word) (uint64, uint64, Word) {
	rule := &r.Rules[f.Rule]
	in, out := f.lanes, ^f.lanes
	replaced := func(nowMay, nowMust uint64) {
		may, must = may&out|nowMay&in, must&out|nowMust&in
	}
	exchanged := func(to Word) {
		w = Word{w.Hi&out | to.Hi&in, w.Lo&out | to.Lo&in}
	}
	switch f.Kind {
	case Ignores:
		replaced(0, 0)
	case Holds:
		exchanged(m.level[m.c.State[r.Bits[i]].Node])
	case Inverts:
		exchanged(w.not())
	case Obeys:
		replaced(under(m.holds(f.terms), m.edge(rule, before)))
	case OtherEdge, BothEdges:
		other := *rule
		if other.Edge = part.Rise; rule.Edge == part.Rise {
			other.Edge = part.Fall
		}
		otherMay, otherMust := m.applies(&other, before)
		if f.Kind == BothEdges {
			otherMay, otherMust = otherMay|may, otherMust|must
		}
		replaced(otherMay, otherMust)
	case Miscounts:
		in &= m.standsAt(r, f.State)
		out = ^in
		exchanged(w.not())
	}
	return may, must, w
}

// standsAt gives the lanes in which a register is in a state for certain.
func (m *Machine) standsAt(r *Register, state uint64) uint64 {
	lanes := ^uint64(0)
	for i, b := range r.Bits {
		w := m.level[m.c.State[b].Node]
		if state>>(len(r.Bits)-1-i)&1 != 0 {
			lanes &= w.Hi &^ w.Lo
		} else {
			lanes &= w.Lo &^ w.Hi
		}
	}
	return lanes
}
