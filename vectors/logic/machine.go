package logic

import (
	"math/rand/v2"
	"slices"

	"chipassay/vectors/part"
)

// maxRounds bounds how often registers may act on each other within one
// change of the inputs: a ripple counter needs one round a stage.
const maxRounds = 200

// A Machine is a chip at work: a circuit with the levels at its inputs and the
// state of its registers, in 64 independent lanes.
type Machine struct {
	certain bool // it has powered up: what is left open stays as it is
	c       *Circuit
	gates   []gate
	level   []Word   // of each node
	next    []Word   // of each state bit
	before  [][]Word // level of each rule's clock when it was last looked at
	pinOf   [part.MaxPins + 1]int32
	outOf   [part.MaxPins + 1]int32 // index into Outputs plus one
	forces  []force                 // of stuck nodes
	forced  []int32                 // of each node: 0, or an index into forces plus one; nil where the chip is good
	broken  [][][]broken            // cell faults of each register's bits; nil where there are none
}

// A force makes some lanes of a line inverted or stuck, in the order of its fields.
type force struct {
	invert  uint64
	or, and Word
}

var free = force{and: Word{^uint64(0), ^uint64(0)}}

func (f force) on(w Word) Word {
	swap := (w.Hi ^ w.Lo) & f.invert
	w.Hi, w.Lo = w.Hi^swap, w.Lo^swap
	return Word{(w.Hi | f.or.Hi) & f.and.Hi, (w.Lo | f.or.Lo) & f.and.Lo}
}

// NewMachine makes a chip with all inputs and all state unknown.
func (c *Circuit) NewMachine() *Machine {
	m := &Machine{c: c, gates: c.layOut(), level: make([]Word, len(c.Nodes)), next: make([]Word, len(c.State))}
	for i := range m.pinOf {
		m.pinOf[i] = -1
	}
	for pin, n := range c.Inputs {
		m.pinOf[pin] = n
	}
	for i, o := range c.Outputs {
		m.outOf[o.Pin] = int32(i + 1)
	}
	for _, r := range c.Registers {
		m.before = append(m.before, make([]Word, len(r.Rules)))
	}
	m.Reset()
	return m
}

// Reset makes all inputs and all state unknown.
func (m *Machine) Reset() {
	m.certain = false
	for n, node := range m.c.Nodes {
		if node.Op == Input || node.Op == State {
			m.level[n] = Splat(X)
		}
	}
	for i := range m.before {
		for j := range m.before[i] {
			m.before[i][j] = Splat(X)
		}
	}
	m.evaluate()
}

// PowerUp gives each state bit a level at random in each lane, the same for the
// same seed. From then on the machine is one certain chip: where the definition
// leaves the next state open, this one stays as it is.
func (m *Machine) PowerUp(seed uint64) {
	random := rand.New(rand.NewPCG(seed, 0))
	m.Wake(func(int) uint64 { return random.Uint64() })
}

// Wake is PowerUp with the levels given: for each bit of Circuit.State, in order,
// the lanes in which it comes up high.
func (m *Machine) Wake(high func(bit int) uint64) {
	m.certain = true
	for i, s := range m.c.State {
		lanes := high(i)
		m.level[s.Node] = Word{lanes, ^lanes}
	}
	m.evaluate()
	m.noteClocks()
}

// Clone gives a machine in the same state, with the same faults. Neither may be
// given further faults.
func (m *Machine) Clone() *Machine {
	n := *m
	n.level, n.next = slices.Clone(m.level), slices.Clone(m.next)
	n.before = make([][]Word, len(m.before))
	for i := range m.before {
		n.before[i] = slices.Clone(m.before[i])
	}
	return &n
}

// Restore puts the registers into a state, one word for each bit of
// Circuit.State, with the inputs as they were last set and no edge pending.
func (m *Machine) Restore(state []Word) {
	for i, s := range m.c.State {
		m.level[s.Node] = state[i]
	}
	m.evaluate()
	m.noteClocks()
}

// State gives the level of bit i of Circuit.State.
func (m *Machine) State(i int) Word { return m.level[m.c.State[i].Node] }

// Set gives an input or a bidirectional pin its level, in all lanes. A released
// pin (z) reads as unknown. Pins that the function does not read are ignored.
func (m *Machine) Set(pin int, w Word) {
	if n := m.pinOf[pin]; n >= 0 {
		m.level[n] = w.known()
	}
}

// known makes x of z, as a gate's input sees it.
func (w Word) known() Word {
	released := ^(w.Hi | w.Lo)
	return Word{w.Hi | released, w.Lo | released}
}

// Evaluate works out what follows from the inputs and the state as they are, without clock edges.
func (m *Machine) Evaluate() { m.evaluate() }

// Settle brings the chip to rest after its inputs changed, clock edges included.
func (m *Machine) Settle() {
	m.evaluate()
	if len(m.c.Registers) == 0 {
		return
	}
	for range maxRounds {
		changed := m.clock()
		if !changed {
			return
		}
		m.evaluate()
	}
	// it oscillates: what still moves is unknown
	for range maxRounds {
		old := make([]Word, len(m.c.State))
		for i, s := range m.c.State {
			old[i] = m.level[s.Node]
		}
		if !m.clock() {
			return
		}
		for i, s := range m.c.State {
			now := m.level[s.Node]
			m.level[s.Node] = Word{now.Hi | old[i].Hi, now.Lo | old[i].Lo}
		}
		m.evaluate()
	}
}

// Out gives what the chip drives at a pin: z where it releases it, x where it is unknown.
func (m *Machine) Out(pin int) Word {
	i := m.outOf[pin]
	if i == 0 {
		return Word{}
	}
	o := &m.c.Outputs[i-1]
	return drives(m.level[o.Node], o.Stage)
}

// drives is what a level becomes behind an output stage.
func drives(w Word, stage part.Stage) Word {
	switch stage {
	case part.OpenCollector:
		return Word{w.Hi & w.Lo, w.Lo} // a 1 releases
	case part.OpenEmitter:
		return Word{w.Hi, w.Lo & w.Hi}
	}
	return w
}

// Level gives the level of a signal of the definition (an index into part.Logic.Signals).
func (m *Machine) Level(signal int) Word {
	if n := m.c.Signals[signal]; n >= 0 {
		return m.level[n]
	}
	return Splat(X)
}

// Node gives the level of a node of the circuit.
func (m *Machine) Node(n int32) Word { return m.level[n] }

// Stick makes a node stuck at a value in the lanes of a mask: 0, 1, or x for a
// level that cannot be predicted.
func (m *Machine) Stick(node int32, v Value, lanes uint64) {
	f := m.force(node)
	*f = f.stick(v, lanes)
}

// Invert makes a node show its complement in the lanes of a mask.
func (m *Machine) Invert(node int32, lanes uint64) { m.force(node).invert ^= lanes }

// force gives what is forced on a node, for more to be added.
func (m *Machine) force(node int32) *force {
	if m.forced == nil {
		m.forced = make([]int32, len(m.c.Nodes))
	}
	if m.forced[node] == 0 {
		m.forces = append(m.forces, free)
		m.forced[node] = int32(len(m.forces))
	}
	return &m.forces[m.forced[node]-1]
}

func (f force) stick(v Value, lanes uint64) force {
	to := Splat(v)
	f.or.Hi |= lanes & to.Hi
	f.or.Lo |= lanes & to.Lo
	f.and.Hi &^= lanes &^ to.Hi
	f.and.Lo &^= lanes &^ to.Lo
	return f
}

// clock lets every register act once on the present levels and reports whether
// any state changed. All registers see the levels from before the change.
func (m *Machine) clock() bool {
	for i := range m.c.Registers {
		r := &m.c.Registers[i]
		if m.rests(r, m.before[i]) {
			for _, b := range r.Bits {
				m.next[b] = m.level[m.c.State[b].Node]
			}
			continue
		}
		m.decide(r, m.before[i])
		if m.broken == nil {
			continue
		}
		for bit, faults := range m.broken[i] {
			if faults != nil {
				m.next[r.Bits[bit]] = m.nextBit(r, bit, m.before[i], faults)
			}
		}
	}
	m.noteClocks()
	changed := false
	for i, s := range m.c.State {
		next := m.next[i]
		if m.certain {
			open := next.Hi & next.Lo
			next = Word{next.Hi&^open | m.level[s.Node].Hi&open, next.Lo&^open | m.level[s.Node].Lo&open}
		}
		if m.level[s.Node] != next {
			m.level[s.Node] = next
			changed = true
		}
	}
	return changed
}

// rests reports whether no rule of a register can act: each waits for an edge, and no
// clock has moved.
func (m *Machine) rests(r *Register, before []Word) bool {
	for j := range r.Rules {
		rule := &r.Rules[j]
		if rule.Edge == part.Level {
			return false
		}
		if now := m.level[rule.Clock].known(); now != before[j] || now.Hi&now.Lo != 0 {
			return false
		}
	}
	return true
}

// noteClocks takes the present clock levels as those before the next edge.
func (m *Machine) noteClocks() {
	for i, r := range m.c.Registers {
		for j, rule := range r.Rules {
			if rule.Edge != part.Level {
				m.before[i][j] = m.level[rule.Clock].known()
			}
		}
	}
}

// decide works out a register's next state. In each lane the first rule that
// applies counts; one that may apply leaves both outcomes possible.
func (m *Machine) decide(r *Register, before []Word) {
	for _, b := range r.Bits {
		m.next[b] = Word{}
	}
	open := ^uint64(0) // lanes in which no rule has applied for certain
	for j := range r.Rules {
		rule := &r.Rules[j]
		may, must := m.applies(rule, before[j])
		may &= open
		if may == 0 {
			continue
		}
		for i, b := range r.Bits {
			w := m.level[rule.Next[i]].known()
			m.next[b].Hi |= w.Hi & may
			m.next[b].Lo |= w.Lo & may
		}
		open &^= must
	}
	for _, b := range r.Bits {
		hold := m.level[m.c.State[b].Node]
		m.next[b].Hi |= hold.Hi & open
		m.next[b].Lo |= hold.Lo & open
	}
}

// applies gives the lanes in which a rule may apply, and those in which it does,
// with the level of its clock when it was last looked at.
func (m *Machine) applies(rule *Rule, before Word) (may, must uint64) {
	if rule.When < 0 {
		e := m.edge(rule, before)
		return e.may, e.must
	}
	return under(m.level[rule.When].known(), m.edge(rule, before))
}

// An occasion is where a rule's edge may be given, and where it is.
type occasion struct{ may, must uint64 }

// edge gives the lanes with a rule's edge; all of them for one without.
func (m *Machine) edge(rule *Rule, was Word) occasion {
	if rule.Edge == part.Level {
		return occasion{^uint64(0), ^uint64(0)}
	}
	now := m.level[rule.Clock].known()
	if rule.Edge != part.Rise { // a fall is the rise of the complement
		now, was = now.not(), was.not()
	}
	may := was.Lo & now.Hi
	// an unknown clock that stays unknown need not have an edge, but may
	return occasion{may, may &^ was.Hi &^ now.Lo}
}

// under leaves of an edge what a condition allows.
func under(w Word, e occasion) (may, must uint64) {
	return e.may & w.Hi, e.must & w.Hi &^ w.Lo
}
