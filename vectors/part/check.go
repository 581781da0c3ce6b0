package part

import (
	"fmt"
	"slices"
)

// Walk calls visit for an expression and everything in it.
func Walk(e Expr, visit func(Expr)) {
	visit(e)
	switch e := e.(type) {
	case Concat:
		for _, p := range e.Parts {
			Walk(p, visit)
		}
	case Not:
		Walk(e.X, visit)
	case Gated:
		for _, x := range e.In {
			Walk(x, visit)
		}
	case Repeat:
		Walk(e.X, visit)
	case Binary:
		Walk(e.X, visit)
		Walk(e.Y, visit)
	case Cond:
		Walk(e.If, visit)
		Walk(e.Then, visit)
		Walk(e.Else, visit)
	case Slice:
		Walk(e.X, visit)
	case Select:
		Walk(e.X, visit)
		Walk(e.Index, visit)
	case Call:
		Walk(e.X, visit)
	}
}

// uses calls visit for each signal that an expression reads; nil is empty.
func uses(e Expr, visit func(signal int)) {
	if e == nil {
		return
	}
	Walk(e, func(e Expr) {
		if r, ok := e.(Ref); ok {
			visit(r.Signal)
		}
	})
}

// reads calls visit for each signal that a register's rules read.
func (r Register) reads(visit func(signal int)) {
	for _, rule := range r.Rules {
		if rule.Edge != Level {
			visit(rule.Clock)
		}
		uses(rule.When, visit)
		uses(rule.Next, visit)
	}
}

// checkLogic sees that each output has one value, that only what may release
// does, that each input matters, and puts the equations in order.
func (b *builder) checkLogic(logic *Logic) error {
	given := make([]int, len(logic.Signals)) // line that gives each signal its value, or 0
	give := func(signal, line int) error {
		s := logic.Signals[signal]
		if given[signal] != 0 {
			return b.placeless(line, "%s has a value already, from line %d", s.Name, given[signal])
		}
		if s.Pin != 0 && b.v.Pins[s.Pin-1].Role == Input {
			return b.placeless(line, "%s is an input: it cannot be given a value", s.Name)
		}
		given[signal] = line
		return nil
	}
	state := 0
	for _, r := range logic.Registers {
		state += len(r.Bits)
		for _, bit := range r.Bits {
			if p := logic.Signals[bit].Pin; p != 0 && b.v.Pins[p-1].Role == Bidirectional {
				return b.placeless(r.Line, "%s is bidirectional: keep the state in an inner register and write the pin as an equation with z", logic.Signals[bit].Name)
			}
			if err := give(bit, r.Line); err != nil {
				return err
			}
		}
	}
	if state > MaxState {
		return b.placeless(b.head.number, "%d bits of state: a part has at most %d", state, MaxState)
	}
	for _, e := range logic.Equations {
		for _, t := range e.Targets {
			if err := give(t, e.Line); err != nil {
				return err
			}
		}
		if err := b.checkRelease(logic, e); err != nil {
			return err
		}
	}
	if err := b.checkUse(logic, given); err != nil {
		return err
	}
	return b.order(logic)
}

// placeless makes an error that belongs to a line as a whole.
func (b *builder) placeless(number int, format string, args ...any) error {
	for _, l := range b.src.lines {
		if l.number == number {
			return b.src.errorAt(l, l.tokens[0].col, format, args...)
		}
	}
	return fmt.Errorf("%s:%d: %s", b.src.file, number, fmt.Sprintf(format, args...))
}

// checkRelease refuses z where no three-state output stands.
func (b *builder) checkRelease(logic *Logic, e Equation) error {
	releases := false
	Walk(e.Value, func(x Expr) {
		if c, ok := x.(Const); ok && slices.Contains([]byte(c.Bits), 'z') {
			releases = true
		}
	})
	for _, t := range e.Targets {
		pin := logic.Signals[t].Pin
		mayRelease := pin != 0 && (b.v.Pins[pin-1].Stage == ThreeState || b.v.Pins[pin-1].Role == Bidirectional)
		if releases && !mayRelease {
			return b.placeless(e.Line, "%s gives z, but is not a three-state output or bidirectional", logic.Signals[t].Name)
		}
		if !releases && mayRelease && !isName(e.Value) {
			return b.placeless(e.Line, "%s is three-state, but nothing releases it: write c ? VALUE : z", logic.Signals[t].Name)
		}
	}
	return nil
}

func isName(e Expr) bool {
	_, ok := e.(Ref)
	return ok
}

// checkUse sees that each output has a value and each input has an effect.
func (b *builder) checkUse(logic *Logic, given []int) error {
	used := make([]bool, len(logic.Signals))
	mark := func(signal int) { used[signal] = true }
	for _, e := range logic.Equations {
		uses(e.Value, mark)
	}
	for _, r := range logic.Registers {
		r.reads(mark)
	}
	for i, s := range logic.Signals {
		if s.Pin == 0 {
			if given[i] == 0 {
				return b.placeless(b.head.number, "%s is given no value", s.Name)
			}
			continue
		}
		p := b.v.Pins[s.Pin-1]
		if p.Untested != "" {
			continue
		}
		switch {
		case given[i] == 0 && p.Observable():
			return b.placeless(b.head.number, "output %s (pin %d) has no equation, table or register", p.Name, p.Number)
		case !used[i] && p.Role == Input && p.Tied == NotTied:
			return b.placeless(b.head.number, "input %s (pin %d) has no effect on any output", p.Name, p.Number)
		}
	}
	return nil
}

// order sorts the equations so that each stands after those it needs, and
// refuses loops: what remembers is a register. A bidirectional pin that is
// read is the level outside, which no equation gives.
func (b *builder) order(logic *Logic) error {
	maker := map[int]int{} // signal to equation
	for i, e := range logic.Equations {
		for _, t := range e.Targets {
			if p := logic.Signals[t].Pin; p == 0 || b.v.Pins[p-1].Role != Bidirectional {
				maker[t] = i
			}
		}
	}
	const (
		fresh = iota
		open
		done
	)
	mark := make([]int, len(logic.Equations))
	var sorted []Equation
	var visit func(i int) error
	visit = func(i int) error {
		if mark[i] == done {
			return nil
		}
		if mark[i] == open {
			e := logic.Equations[i]
			return b.placeless(e.Line, "%s depends on itself: write what remembers as a register", logic.Signals[e.Targets[0]].Name)
		}
		mark[i] = open
		var err error
		uses(logic.Equations[i].Value, func(signal int) {
			if j, ok := maker[signal]; ok && err == nil {
				err = visit(j)
			}
		})
		if err != nil {
			return err
		}
		mark[i] = done
		sorted = append(sorted, logic.Equations[i])
		return nil
	}
	for i := range logic.Equations {
		if err := visit(i); err != nil {
			return err
		}
	}
	logic.Equations = sorted
	return nil
}

// nameGates collects for each gate its outputs and every pin that they depend on.
func (b *builder) nameGates() {
	logic := &b.v.Logic
	reads := map[int][]int{} // what gives a signal its value, directly
	gates := map[string]Pins{}
	var names []string
	belong := func(gate string, signals []int) {
		if gate == "" {
			return
		}
		for _, s := range logic.cone(signals, reads) {
			if p := logic.Signals[s].Pin; p != 0 {
				gates[gate] = gates[gate].With(p, true)
			}
		}
	}
	for _, e := range logic.Equations {
		uses(e.Value, func(s int) {
			for _, t := range e.Targets {
				reads[t] = append(reads[t], s)
			}
		})
	}
	for _, r := range logic.Registers {
		r.reads(func(s int) {
			for _, bit := range r.Bits {
				reads[bit] = append(reads[bit], s)
			}
		})
	}
	for _, e := range logic.Equations {
		belong(e.Gate, e.Targets)
	}
	for _, r := range logic.Registers {
		belong(r.Gate, r.Bits)
	}
	for _, st := range b.items {
		if st.gate != "" && !slices.Contains(names, st.gate) {
			names = append(names, st.gate)
		}
	}
	for _, name := range names {
		b.v.Gates = append(b.v.Gates, Gate{Name: name, Pins: slices.Collect(gates[name].All())})
	}
}

// cone finds every signal that the given ones depend on, themselves included.
func (l *Logic) cone(signals []int, reads map[int][]int) []int {
	seen := map[int]bool{}
	var found []int
	pending := slices.Clone(signals)
	for len(pending) > 0 {
		s := pending[len(pending)-1]
		pending = pending[:len(pending)-1]
		if !seen[s] {
			seen[s] = true
			found = append(found, s)
			pending = append(pending, reads[s]...)
		}
	}
	return found
}
