package fault

import (
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// Bounds within which it is decided whether a fault can be shown at all.
const (
	maxSweptInputs = 12
	maxStates      = 600
	maxTrials      = 60_000 // of 64 lanes, for one class
)

// A prover decides which faults no legal stimulus shows.
type prover struct {
	m         *Model
	exhausted bool     // a combinational part swept whole
	spaces    []*space // of each component; nil where it is too large
	rules     *stimulus.Rules
}

// A space is all that one component can be in: its reachable states, and the
// settings of its inputs with the changes of one pin that are legal from each.
type space struct {
	logic.Component
	inputs []int
	states [][]logic.Value // reachable, each with the levels of Component.State
	rest   []logic.Value   // of all state bits of the circuit, for those outside the component
	legal  []uint64        // for each block of 64 settings and each input: the lanes whose change is legal
	drive  part.Pins       // levels of the pins outside the component
}

func newProver(m *Model, c *logic.Circuit, s *stimulus.Sequence) *prover {
	p := &prover{m: m, rules: stimulus.RulesOf(c)}
	if len(c.Registers) == 0 {
		p.exhausted = exhaustive(c, s)
		return p
	}
	good := c.NewMachine()
	for _, st := range s.Steps {
		drive(good, c, st)
	}
	for _, k := range m.Circuit.Components() {
		p.spaces = append(p.spaces, p.newSpace(k, good, s))
	}
	return p
}

// undetectable tells whether it is proven that no legal stimulus shows a stuck line:
// a combinational part was swept whole without showing it, or from no reachable
// state of its component does any legal change of a pin make the faulty chip
// differ for certain, at an output or in its next state.
func (p *prover) undetectable(f Line) bool {
	if len(p.m.Circuit.Registers) == 0 {
		return p.exhausted
	}
	for _, sp := range p.spaces {
		if sp == nil || len(sp.states)*len(sp.legal)*2 > maxTrials {
			return false // any component might hold it
		}
	}
	for _, sp := range p.spaces {
		if p.differs(sp, f) {
			return false
		}
	}
	return true
}

// newSpace explores a component from where the good chip stands after the
// sequence; nil where it is too large or its state is not known.
func (p *prover) newSpace(k logic.Component, good *logic.Machine, s *stimulus.Sequence) *space {
	sp := &space{Component: k, drive: s.Steps[len(s.Steps)-1].Drive}
	for pin := range k.Inputs.All() {
		q := p.m.Circuit.Variant.Pins[pin-1]
		if q.Role == part.Bidirectional {
			return nil
		}
		if q.Tied == part.NotTied && q.Untested == "" {
			sp.inputs = append(sp.inputs, pin)
		}
	}
	if len(sp.inputs) > maxSweptInputs {
		return nil
	}
	for i := range p.m.Circuit.State {
		sp.rest = append(sp.rest, good.State(i).Lane(0))
	}
	first := make([]logic.Value, len(k.State))
	for i, bit := range k.State {
		if first[i] = sp.rest[bit]; first[i] == logic.X {
			return nil
		}
	}
	p.markLegal(sp)
	return p.reach(sp, first)
}

// markLegal works out once which changes are legal from which settings.
func (p *prover) markLegal(sp *space) {
	for base := 0; base < 1<<len(sp.inputs); base += 64 {
		for _, pin := range sp.inputs {
			var legal uint64
			for lane := range min(64, 1<<len(sp.inputs)) {
				from := sp.setting(base + lane)
				if p.rules.Allows(from, from) && p.rules.Allows(from, from^part.PinSet(pin)) {
					legal |= 1 << lane
				}
			}
			sp.legal = append(sp.legal, legal)
		}
	}
}

// setting gives the levels of all pins for a numbered setting of the component's inputs.
func (sp *space) setting(n int) part.Pins {
	levels := sp.drive
	for i, pin := range sp.inputs {
		levels = levels.With(pin, n>>i&1 != 0)
	}
	return levels
}

// reach collects the states that legal changes lead to.
func (p *prover) reach(sp *space, first []logic.Value) *space {
	m := p.m.Circuit.NewMachine()
	seen := map[string]bool{text(first): true}
	sp.states = [][]logic.Value{first}
	for i := 0; i < len(sp.states); i++ {
		if len(sp.states) > maxStates || len(sp.states)*len(sp.legal)*2 > maxTrials {
			return nil
		}
		sp.each(m, sp.states[i], func(lanes uint64) {
			for lane := range 64 {
				if lanes>>lane&1 == 0 {
					continue
				}
				next := make([]logic.Value, len(sp.State))
				known := true
				for j, bit := range sp.State {
					next[j] = m.State(bit).Lane(lane)
					known = known && next[j] != logic.X
				}
				if key := text(next); known && !seen[key] {
					seen[key] = true
					sp.states = append(sp.states, next)
				}
			}
		})
	}
	return sp
}

func text(state []logic.Value) string {
	b := make([]byte, len(state))
	for i, v := range state {
		b[i] = v.String()[0]
	}
	return string(b)
}

// each puts a machine into a state with every setting of the inputs, 64 at a
// time, makes every change of one pin, and calls visit with the lanes in which
// the change was legal.
func (sp *space) each(m *logic.Machine, state []logic.Value, visit func(lanes uint64)) {
	words := make([]logic.Word, len(sp.rest))
	for base, block := 0, 0; base < 1<<len(sp.inputs); base, block = base+64, block+1 {
		for i := range sp.inputs {
			legal := sp.legal[block*len(sp.inputs)+i]
			if legal == 0 {
				continue
			}
			sp.place(m, words, state, base)
			m.Set(sp.inputs[i], sp.word(base, i, true))
			m.Settle()
			visit(legal)
		}
	}
}

func (sp *space) place(m *logic.Machine, words []logic.Word, state []logic.Value, base int) {
	for i, v := range sp.rest {
		words[i] = logic.Splat(v)
	}
	for i, bit := range sp.State {
		words[bit] = logic.Splat(state[i])
	}
	for i, pin := range sp.inputs {
		m.Set(pin, sp.word(base, i, false))
	}
	m.Restore(words)
	m.Settle()
}

// word is the level of input i in the settings base to base+63, or after its change.
func (sp *space) word(base, i int, changed bool) logic.Word {
	var high uint64
	for lane := range 64 {
		if (base+lane)>>i&1 != 0 != changed {
			high |= 1 << lane
		}
	}
	return logic.Word{Hi: high, Lo: ^high}
}

// differs tells whether a fault makes any difference in a component: a known
// output or a known next bit of state that is not what the good chip has.
func (p *prover) differs(sp *space, f Line) bool {
	good, bad := p.m.Circuit.NewMachine(), p.m.Circuit.NewMachine()
	bad.Stick(f.Node, f.Value, ^uint64(0))
	words := make([]logic.Word, len(sp.rest))
	for _, state := range sp.states {
		found := false
		block := 0
		for base := 0; base < 1<<len(sp.inputs) && !found; base, block = base+64, block+1 {
			for i := range sp.inputs {
				legal := sp.legal[block*len(sp.inputs)+i]
				if legal == 0 {
					continue
				}
				for _, m := range []*logic.Machine{good, bad} {
					sp.place(m, words, state, base)
				}
				found = p.different(sp, good, bad)&legal != 0
				for _, m := range []*logic.Machine{good, bad} {
					m.Set(sp.inputs[i], sp.word(base, i, true))
					m.Settle()
				}
				if found = found || p.different(sp, good, bad)&legal != 0; found {
					return true
				}
			}
		}
	}
	return false
}

// different gives the lanes in which two chips differ for certain. Where a fault
// leads to what the data sheet leaves open, nothing certain is different.
func (p *prover) different(sp *space, good, bad *logic.Machine) (lanes uint64) {
	compare := func(g, b logic.Word) {
		unsure := g.Hi&g.Lo | b.Hi&b.Lo
		lanes |= ((g.Hi ^ b.Hi) | (g.Lo ^ b.Lo)) &^ unsure
	}
	for pin := range sp.Outputs.All() {
		compare(good.Out(pin), bad.Out(pin))
	}
	for _, bit := range sp.State {
		compare(good.State(bit), bad.State(bit))
	}
	return lanes
}

// exhaustive tells whether a sequence holds every combination of the inputs that
// are not tied.
func exhaustive(c *logic.Circuit, s *stimulus.Sequence) bool {
	free := 0
	for pin := range c.Inputs {
		if p := c.Variant.Pins[pin-1]; p.Tied == part.NotTied && p.Untested == "" {
			free++
		}
	}
	if free > 24 || len(s.Steps) < 1<<free {
		return false
	}
	seen := map[part.Pins]bool{}
	for _, st := range s.Steps {
		seen[st.Drive] = true
	}
	return len(seen) >= 1<<free
}
