package part

import (
	"fmt"
	"maps"
	"slices"
	"strings"
)

// buildLogic resolves the names and makes equations and registers of what was written.
func (b *builder) buildLogic() error {
	s := &scope{src: b.src, named: map[string][]int{}}
	for _, p := range b.v.Pins {
		if p.Role == Input || p.Role == Output || p.Role == Bidirectional {
			s.named[p.Name] = []int{s.add(p.Name, p.Number)}
		}
	}
	b.dropReplaced()
	for _, st := range b.items {
		if err := b.declare(s, st); err != nil {
			return err
		}
	}
	var logic Logic
	for _, st := range b.items {
		if st.keyword == "=" {
			if err := b.equation(s, st, &logic); err != nil {
				return err
			}
		}
		if st.keyword == "table" {
			if err := b.table(s, st, &logic); err != nil {
				return err
			}
		}
		if len(s.signals) > maxNames {
			return b.src.errorAt(st.line, 1, "the logic has more than %d inner bits", maxNames)
		}
	}
	for _, st := range b.items {
		if st.keyword == "register" {
			if err := b.register(s, st, &logic); err != nil {
				return err
			}
		}
	}
	for _, st := range b.later {
		read := b.constraint
		if st.keyword == "sequence" {
			read = b.sequence
		}
		if err := read(s, st, &logic); err != nil {
			return err
		}
	}
	logic.Signals = s.signals
	for _, name := range slices.Sorted(maps.Keys(s.named)) {
		if bits := s.named[name]; len(bits) > 1 {
			logic.Buses = append(logic.Buses, Bus{name, bits})
		}
	}
	if err := b.checkLogic(&logic); err != nil {
		return err
	}
	b.v.Logic = logic
	b.nameGates()
	return b.timings(s)
}

// targets names what a statement of logic gives a value to.
func (st statement) targets() []string {
	var names []string
	stop, from := "=", 0
	switch st.keyword {
	case "table":
		if len(st.rows) == 0 {
			return nil
		}
		bar := slices.IndexFunc(st.rows[0].tokens, func(t token) bool { return t.text == "|" })
		stop, from = "", bar+1
	case "register", "bus":
		from = 1
	}
	l := st.line
	if st.keyword == "table" {
		l = st.rows[0]
	}
	for _, t := range l.tokens[min(from, len(l.tokens)):] {
		if t.kind == symbol && (t.text == stop && stop != "" || t.text == "[") {
			break
		}
		if t.kind == nameToken {
			names = append(names, t.text)
		}
		if t.kind == rangeToken {
			more, _ := expandRange(t.text)
			names = append(names, more...)
		}
	}
	return names
}

// dropReplaced leaves out inherited logic whose targets a later part states again.
func (b *builder) dropReplaced() {
	type stated struct {
		name string
		bus  bool // a bus is a name for bits, and gives them no value
	}
	latest := map[stated]int{}
	for _, st := range b.items {
		for _, name := range st.targets() {
			s := stated{name, st.keyword == "bus"}
			if at, ok := latest[s]; !ok || st.inherited < at {
				latest[s] = st.inherited
			}
		}
	}
	b.items = slices.DeleteFunc(b.items, func(st statement) bool {
		return slices.ContainsFunc(st.targets(), func(name string) bool {
			return latest[stated{name, st.keyword == "bus"}] < st.inherited
		})
	})
}

// declare makes the names of buses and inner registers known before any equation needs them.
func (b *builder) declare(s *scope, st statement) error {
	l := st.line
	switch {
	case st.keyword == "register":
		if len(l.tokens) < 2 || l.tokens[1].kind != nameToken {
			return b.src.errorAt(l, l.tokens[0].col, "write the register's name: register Q, or register count[12] for an inner one")
		}
		name := l.tokens[1]
		if len(l.tokens) == 2 {
			return nil
		}
		width, ok := literalNumber(l.tokens[3:])
		if l.tokens[2].text != "[" || !ok || l.tokens[len(l.tokens)-1].text != "]" || width < 1 || width > MaxWidth {
			return b.src.errorAt(l, l.tokens[2].col, "write the width of the register in bits, from 1 to %d: register count[12]", MaxWidth)
		}
		if s.named[name.text] != nil {
			return b.src.errorAt(l, name.col, "%s is a pin or a name already: an inner register needs a name of its own", name.text)
		}
		s.declare(name.text, width)
	case st.keyword == "bus":
		if len(l.tokens) < 4 || l.tokens[2].text != "=" {
			return b.src.errorAt(l, l.tokens[0].col, "write the bus and its bits, most significant first: bus A = A3..A0")
		}
		names, err := b.src.names(l, 3)
		if err != nil {
			return err
		}
		var ids []int
		for _, name := range names {
			bits, ok := s.named[name]
			if !ok {
				return b.src.errorAt(l, columnOf(l, name), "there is no pin, bus or register %s above", name)
			}
			ids = append(ids, bits...)
		}
		if s.named[l.tokens[1].text] != nil {
			return b.src.errorAt(l, l.tokens[1].col, "%s is a pin or a name already", l.tokens[1].text)
		}
		if len(ids) > MaxWidth {
			return b.src.errorAt(l, l.tokens[1].col, "a bus has at most %d bits, this one has %d", MaxWidth, len(ids))
		}
		s.named[l.tokens[1].text] = ids
	}
	return nil
}

func literalNumber(tokens []token) (n int, ok bool) {
	if len(tokens) != 2 {
		return 0, false
	}
	_, err := fmt.Sscanf(tokens[0].text, "%d", &n)
	return n, err == nil
}

// equation reads NAME = EXPRESSION, or {A, B} = EXPRESSION.
func (b *builder) equation(s *scope, st statement, logic *Logic) error {
	l := st.line
	at := slices.IndexFunc(l.tokens, func(t token) bool { return t.kind == symbol && t.text == "=" })
	p := &exprParser{src: b.src, line: l, next: at + 1}
	value, err := p.expression()
	if err != nil {
		return err
	}
	if err := p.atEnd(); err != nil {
		return err
	}
	targets, err := b.equationTargets(s, l, at, value)
	if err != nil {
		return err
	}
	e, err := s.elaborate(value, len(targets))
	if err != nil {
		return err
	}
	if e.Width() != len(targets) {
		if e.Width() > len(targets) || !widens(value) {
			return b.src.errorAt(l, l.tokens[0].col, "%d bits are assigned to %d", e.Width(), len(targets))
		}
		e = widen(e, len(targets))
	}
	logic.Equations = append(logic.Equations, Equation{Targets: targets, Value: e, Line: l.number, Gate: st.gate})
	return nil
}

// widens reports whether a value may be narrower than its target: a count or a
// sum has zeros before it, but a bit that is missing from a bus is a mistake.
func widens(n *node) bool {
	return slices.Contains([]string{"+", "-", "*", "<<", ">>", "count"}, n.op)
}

// equationTargets resolves what stands left of the equals sign; a new name gets the value's width.
func (b *builder) equationTargets(s *scope, l line, at int, value *node) ([]int, error) {
	left := l.tokens[:at]
	if len(left) > 1 && left[0].text == "{" && left[at-1].text == "}" {
		left = slices.DeleteFunc(slices.Clone(left[1:at-1]), func(t token) bool { return t.text == "," })
	} else if len(left) != 1 {
		return nil, b.src.errorAt(l, l.tokens[0].col, "write NAME = EXPRESSION, or {C4, S} = EXPRESSION")
	}
	names, err := b.src.names(line{number: l.number, text: l.text, tokens: left}, 0)
	if err != nil {
		return nil, err
	}
	var targets []int
	for _, name := range names {
		ids, ok := s.named[name]
		if !ok {
			if _, number := literal(name); number {
				return nil, b.src.errorAt(l, columnOf(l, name), "%s is a number, not a name", name)
			}
			width := 1
			if len(names) == 1 {
				if width, err = s.width(value); err != nil {
					return nil, err
				}
				if width > MaxWidth {
					return nil, b.src.errorAt(l, l.tokens[0].col, "%d bits: a name has at most %d", width, MaxWidth)
				}
			}
			ids = s.declare(name, width)
		}
		targets = append(targets, ids...)
	}
	return targets, nil
}

// register reads a register with its rules.
func (b *builder) register(s *scope, st statement, logic *Logic) error {
	name := st.line.tokens[1]
	ids, ok := s.named[name.text]
	if !ok {
		return b.src.errorAt(st.line, name.col, "there is no output or bus %s: for an inner register write its width, register %s[4]", name.text, name.text)
	}
	r := Register{Name: name.text, Bits: ids, Line: st.line.number, Gate: st.gate}
	if len(st.rows) == 0 {
		return b.src.errorAt(st.line, name.col, "lines such as when !/CLR : 0, or on rise CLK : D, must follow")
	}
	for _, row := range st.rows {
		rule, err := b.rule(s, row, len(ids))
		if err != nil {
			return err
		}
		r.Rules = append(r.Rules, rule)
	}
	logic.Registers = append(logic.Registers, r)
	return nil
}

var edgeWords = map[string]Edge{"rise": Rise, "fall": Fall, "pulse": Pulse}

// rule reads [on EDGE NAME] [when EXPRESSION] : EXPRESSION.
func (b *builder) rule(s *scope, l line, width int) (Rule, error) {
	r := Rule{Line: l.number, Text: l.written()}
	p := &exprParser{src: b.src, line: l}
	if p.peek().text == "on" {
		if len(l.tokens) < 3 {
			return r, b.src.errorAt(l, 1, "write on rise CLK : VALUE")
		}
		edge, ok := edgeWords[l.tokens[1].text]
		if !ok {
			return r, b.src.errorAt(l, l.tokens[1].col, "an edge is rise, fall or pulse")
		}
		clock := s.named[l.tokens[2].text]
		if len(clock) != 1 {
			return r, b.src.errorAt(l, l.tokens[2].col, "a clock is a pin or a name of one bit; %s is not", l.tokens[2].text)
		}
		r.Edge, r.Clock = edge, clock[0]
		p.next = 3
	}
	if p.peek().text == "when" {
		p.next++
		n, err := p.expression()
		if err != nil {
			return r, err
		}
		if r.When, err = s.elaborate(n, 1); err != nil {
			return r, err
		}
		if r.When.Width() != 1 {
			return r, s.fail(n, "a condition must have one bit, this one has %d", r.When.Width())
		}
	}
	if r.Edge == Level && r.When == nil {
		return r, b.src.errorAt(l, 1, "a line of a register begins with when or on")
	}
	if err := p.expect(":"); err != nil {
		return r, err
	}
	n, err := p.expression()
	if err != nil {
		return r, err
	}
	if err := p.atEnd(); err != nil {
		return r, err
	}
	if r.Next, err = s.elaborate(n, width); err != nil {
		return r, err
	}
	if w := r.Next.Width(); w != width {
		if w > width || !widens(n) {
			return r, s.fail(n, "the register has %d bits and the value %d", width, w)
		}
		r.Next = widen(r.Next, width)
	}
	return r, nil
}

// constraint reads never EXPRESSION "why", unstable NAME NAME, and stable or
// together NAME NAME while EXPRESSION, a stable one with its families.
func (b *builder) constraint(s *scope, st statement, logic *Logic) error {
	l := st.line
	if st.keyword == "unstable" {
		names, err := b.src.names(l, 1)
		if err != nil {
			return err
		}
		var ids []int
		for _, name := range names {
			if len(s.named[name]) != 1 {
				return b.src.errorAt(l, columnOf(l, name), "there is no pin %s", name)
			}
			ids = append(ids, s.named[name]...)
		}
		logic.Unstable = append(logic.Unstable, ids)
		return nil
	}
	if st.keyword == "stable" {
		return b.stable(s, st, logic)
	}
	if st.keyword == "together" {
		c, err := b.namesWhile(s, l, "write the pins and when they change in one step: together SET R while BYP")
		if err == nil && len(c.Signals) < 2 {
			return b.src.errorAt(l, 1, "two pins or more change together")
		}
		logic.Together = append(logic.Together, Together(c))
		return err
	}
	p := &exprParser{src: b.src, line: l, next: 1}
	n, err := p.expression()
	if err != nil {
		return err
	}
	why := p.peek()
	if why.kind != quoted {
		return b.src.errorAt(l, why.col, "the reason must follow in quotes: never /WR & /RD \"…\"")
	}
	p.next++
	if err := p.atEnd(); err != nil {
		return err
	}
	when, err := s.elaborate(n, 1)
	if err != nil {
		return err
	}
	if when.Width() != 1 {
		return s.fail(n, "the combination must be one bit, as in A & !B or A == 3")
	}
	logic.Never = append(logic.Never, Never{When: when, Why: why.text})
	return nil
}

// stable reads stable NAME NAME while EXPRESSION in FAMILY FAMILY. A rule that holds in none
// of the variant's families is left out.
func (b *builder) stable(s *scope, st statement, logic *Logic) error {
	head, families, err := b.cutFamilies(st.line)
	if err != nil {
		return err
	}
	l := st.line
	l.tokens = head
	c, err := b.namesWhile(s, l, "write the inputs and when they must not change: stable D_U while !CLK")
	if err != nil {
		return err
	}
	if families != nil && st.inherited == 0 {
		b.ruled = append(b.ruled, ruledFamilies{st.line, families})
	}
	rule := Stable{Signals: c.Signals, While: c.While, Families: families}
	if slices.ContainsFunc(b.v.Families, rule.In) {
		logic.Stable = append(logic.Stable, rule)
	}
	return nil
}

// ruledFamilies are the families that a line names for its rule.
type ruledFamilies struct {
	line     line
	families []*Family
}

// checkRuled sees that a part is made in the families that a rule of its own names.
func (s *source) checkRuled(p *Part, r ruledFamilies) error {
	for _, f := range r.families {
		if !slices.Contains(p.Families(), f) {
			var names []string
			for _, f := range p.Families() {
				names = append(names, f.Name)
			}
			return s.errorAt(r.line, columnOf(r.line, f.Name), "part %s is not made in family %s: its families are %s", p.Number, f.Name, strings.Join(names, " "))
		}
	}
	return nil
}

// namesWhile reads the names and the condition of stable NAME NAME while EXPRESSION.
func (b *builder) namesWhile(s *scope, l line, usage string) (c struct {
	Signals []int
	While   Expr
}, err error) {
	at := slices.IndexFunc(l.tokens, func(t token) bool { return t.kind == nameToken && t.text == "while" })
	if at < 2 {
		return c, b.src.errorAt(l, 1, "%s", usage)
	}
	names, err := b.src.names(line{number: l.number, text: l.text, tokens: l.tokens[:at]}, 1)
	if err != nil {
		return c, err
	}
	for _, name := range names {
		ids, ok := s.named[name]
		if !ok {
			return c, b.src.errorAt(l, columnOf(l, name), "there is no pin or bus %s", name)
		}
		c.Signals = append(c.Signals, ids...)
	}
	p := &exprParser{src: b.src, line: l, next: at + 1}
	n, err := p.expression()
	if err != nil {
		return c, err
	}
	if err := p.atEnd(); err != nil {
		return c, err
	}
	if c.While, err = s.elaborate(n, 1); err != nil {
		return c, err
	}
	if c.While.Width() != 1 {
		return c, s.fail(n, "the condition must be one bit, this one has %d", c.While.Width())
	}
	return c, nil
}
