package part

import (
	"math"
	"slices"
	"strconv"
)

// timingRows are the words that begin a line of a timing statement.
var timingRows = []string{"capacitor", "resistor", "wire", "pulse", "trigger", "maybe", "hold", "level", "clear", "retriggerable", "width", "period", "runs", "below", "divided", "faster"}

func isTimingRow(l line) bool {
	return l.keyword() == "" && slices.Contains(timingRows, l.tokens[0].text)
}

// dropReplacedTimings leaves out inherited timings where a later part states its own.
func dropReplacedTimings(all []statement) []statement {
	least := math.MaxInt
	for _, st := range all {
		least = min(least, st.inherited)
	}
	return slices.DeleteFunc(slices.Clone(all), func(st statement) bool { return st.inherited > least })
}

// timings reads the timing statements of a variant.
func (b *builder) timings(s *scope) error {
	for _, st := range dropReplacedTimings(b.timed) {
		names := []string{""}
		if len(st.line.tokens) > 1 {
			var err error
			if names, err = b.src.names(st.line, 1); err != nil {
				return err
			}
		}
		for _, name := range names {
			t := Timing{Name: name, Line: st.line.number}
			for _, row := range st.rows {
				if name != "" {
					row = row.forGate(name)
				}
				if err := b.timingRow(s, &t, row); err != nil {
					return err
				}
			}
			if err := b.checkTiming(&t, st.line); err != nil {
				return err
			}
			if slices.ContainsFunc(b.v.Timings, func(o Timing) bool { return o.Name == t.Name }) {
				return b.src.errorAt(st.line, 1, "the timing %s is stated twice: give each a name", t.Name)
			}
			b.v.Timings = append(b.v.Timings, t)
		}
	}
	return nil
}

// timingRow reads one line of a timing statement.
func (b *builder) timingRow(s *scope, t *Timing, l line) (err error) {
	switch l.tokens[0].text {
	case "capacitor":
		var pins []int
		if pins, err = b.pinsOf(l, 1, len(l.tokens)); err == nil && len(pins) != 2 {
			err = b.src.errorAt(l, 1, "name the two pins of the capacitor, the negative one first: capacitor 1CX 1RCX")
		}
		if err == nil {
			t.Negative, t.Positive = pins[0], pins[1]
		}
	case "resistor":
		return b.timingResistor(t, l)
	case "wire":
		var pins []int
		if pins, err = b.pinsOf(l, 1, len(l.tokens)); err == nil && len(pins) != 2 {
			err = b.src.errorAt(l, 1, "name the two pins that a wire joins: wire DIS THR")
		}
		if err == nil {
			t.Wires = append(t.Wires, [2]int{pins[0], pins[1]})
		}
	case "pulse":
		var pins []int
		if pins, err = b.pinsOf(l, 1, len(l.tokens)); err == nil && len(pins) > 2 {
			err = b.src.errorAt(l, 1, "name the output of the pulse, and its complement if there is one: pulse 1Q /1Q")
		}
		for i, pin := range pins {
			if p := &b.v.Pins[pin-1]; err == nil && !p.Observable() {
				err = b.src.errorAt(l, l.tokens[1+i].col, "pin %s is %s, and no output", p.Name, p.Role)
			}
		}
		if err == nil {
			t.Output = pins[0]
			if len(pins) == 2 {
				t.Complement = pins[1]
			}
		}
	case "trigger":
		return b.trigger(s, l, &t.Triggers)
	case "maybe":
		return b.trigger(s, l, &t.Maybes)
	case "hold":
		return b.hold(t, l)
	case "level":
		if len(l.tokens) > 1 {
			return b.src.errorAt(l, l.tokens[1].col, "level stands alone")
		}
		t.ByLevel = true
	case "clear":
		t.Clears = true
		t.Clear, err = b.condition(s, l, 1)
	case "runs":
		t.Oscillates = true
		at := 1
		if len(l.tokens) == 1 {
			return nil // always
		}
		if l.tokens[1].text == "when" {
			at = 2
		}
		t.Runs, err = b.condition(s, l, at)
	case "retriggerable":
		return b.retriggerable(t, l)
	case "divided":
		return b.divided(t, l)
	case "faster":
		t.Faster, err = b.oneInput(l, 1, "name the input: faster VCIN")
	case "width", "period":
		return b.formula(t, l)
	case "below":
		return b.belowGround(t, l)
	}
	return err
}

// oneInput gives the pin of the one input that is named from a token to the end of a line.
func (b *builder) oneInput(l line, from int, write string) (int, error) {
	pins, err := b.pinsOf(l, from, len(l.tokens))
	switch {
	case err != nil:
		return 0, err
	case len(pins) != 1:
		return 0, b.src.errorAt(l, 1, "%s", write)
	}
	if p := &b.v.Pins[pins[0]-1]; p.Role != Input {
		return 0, b.src.errorAt(l, l.tokens[from].col, "pin %s is %s, and no input", p.Name, p.Role)
	}
	return pins[0], nil
}

// retriggerable reads retriggerable, or retriggerable by RT.
func (b *builder) retriggerable(t *Timing, l line) (err error) {
	t.Retriggerable = true
	switch {
	case len(l.tokens) == 1:
		return nil
	case l.tokens[1].text != "by":
		return b.src.errorAt(l, l.tokens[1].col, "retriggerable stands alone, or with by and an input: retriggerable by RT")
	}
	t.Retrigger, err = b.oneInput(l, 2, "name the input: retriggerable by RT")
	return err
}

// divided reads divided OSC 2.
func (b *builder) divided(t *Timing, l line) error {
	const write = "write the output and by how much it is divided: divided OSC 2"
	if len(l.tokens) != 3 {
		return b.src.errorAt(l, 1, write)
	}
	pins, err := b.pinsOf(l, 1, 2)
	if err != nil {
		return err
	}
	if p := &b.v.Pins[pins[0]-1]; !p.Observable() {
		return b.src.errorAt(l, l.tokens[1].col, "pin %s is %s, and no output", p.Name, p.Role)
	}
	by, bad := strconv.Atoi(l.tokens[2].text)
	if bad != nil || by < 1 || by > 1<<16 {
		return b.src.errorAt(l, l.tokens[2].col, write)
	}
	t.Undivided, t.Divisor = pins[0], by
	return nil
}

// pinsOf gives the numbers of the pins named in some tokens of a line.
func (b *builder) pinsOf(l line, from, to int) (pins []int, err error) {
	cut := line{number: l.number, text: l.text, tokens: l.tokens[:to]}
	err = b.eachPin(cut, from, func(p *Pin) error {
		if slices.Contains(pins, p.Number) {
			return b.src.errorAt(l, columnOf(l, p.Name), "pin %s is named twice", p.Name)
		}
		pins = append(pins, p.Number)
		return nil
	})
	return pins, err
}

// timingResistor reads resistor A B, or resistor A to supply.
func (b *builder) timingResistor(t *Timing, l line) error {
	const write = "name two pins, or one and the supply: resistor R RC, or resistor 1RCX to supply"
	n := len(l.tokens)
	if n > 3 && l.tokens[n-2].text == "to" && l.tokens[n-1].text == "supply" {
		pins, err := b.pinsOf(l, 1, n-2)
		if err == nil && len(pins) != 1 {
			err = b.src.errorAt(l, 1, write)
		}
		if err == nil {
			t.Supplied = pins[0]
		}
		return err
	}
	pins, err := b.pinsOf(l, 1, n)
	if err == nil && len(pins) != 2 {
		err = b.src.errorAt(l, 1, write)
	}
	if err == nil {
		t.Resistor = [2]int{pins[0], pins[1]}
	}
	return err
}

// trigger reads trigger on fall 1A when 1B & /1CLR.
func (b *builder) trigger(s *scope, l line, into *[]Trigger) error {
	if len(l.tokens) < 4 || l.tokens[1].text != "on" || edgeWords[l.tokens[2].text] == Level || l.tokens[2].text == "pulse" {
		return b.src.errorAt(l, 1, "write the edge, the pin and the condition: trigger on fall 1A when 1B & /1CLR")
	}
	pins, err := b.pinsOf(l, 3, 4)
	if err != nil {
		return err
	}
	if p := &b.v.Pins[pins[0]-1]; p.Role != Input {
		return b.src.errorAt(l, l.tokens[3].col, "pin %s is %s, and no input", p.Name, p.Role)
	}
	x := Trigger{Pin: pins[0], Rise: l.tokens[2].text == "rise", Text: line{tokens: l.tokens[1:]}.written()}
	if len(l.tokens) > 4 {
		if l.tokens[4].text != "when" {
			return b.src.errorAt(l, l.tokens[4].col, "when must stand here, not %s", l.tokens[4].text)
		}
		if x.When, err = b.condition(s, l, 5); err != nil {
			return err
		}
	}
	*into = append(*into, x)
	return nil
}

// hold reads hold low AST RT.
func (b *builder) hold(t *Timing, l line) error {
	if len(l.tokens) < 3 || !slices.Contains([]string{"low", "high", "open"}, l.tokens[1].text) {
		return b.src.errorAt(l, 1, "write low, high or open, and the inputs: hold low AST RT")
	}
	pins, err := b.pinsOf(l, 2, len(l.tokens))
	for _, pin := range pins {
		if p := &b.v.Pins[pin-1]; p.Role != Input {
			return b.src.errorAt(l, columnOf(l, p.Name), "pin %s is %s, and no input", p.Name, p.Role)
		}
		t.Held = t.Held.With(pin, true)
		t.HeldHigh = t.HeldHigh.With(pin, l.tokens[1].text == "high")
		t.Open = t.Open.With(pin, l.tokens[1].text == "open")
	}
	return err
}

// condition reads a condition of inputs, by & | ^ ! alone.
func (b *builder) condition(s *scope, l line, from int) (Condition, error) {
	p := &exprParser{src: b.src, line: l, next: from}
	n, err := p.expression()
	if err == nil {
		err = p.atEnd()
	}
	if err != nil {
		return nil, err
	}
	e, err := s.elaborate(n, 1)
	if err != nil {
		return nil, err
	}
	c, ok := conditionOf(s, b.v, e)
	if !ok || e.Width() != 1 {
		return nil, s.fail(n, "a condition of a timing is one of inputs, by & | ^ and !: !1A & 1B")
	}
	return c, nil
}

// conditionOf makes a function of an expression of inputs; ok is false for anything else.
func conditionOf(s *scope, v *Variant, e Expr) (c Condition, ok bool) {
	switch e := e.(type) {
	case Ref:
		pin := s.signals[e.Signal].Pin
		if pin == 0 || v.Pins[pin-1].Role != Input {
			return nil, false
		}
		return func(high Pins) bool { return high.Has(pin) }, true
	case Not:
		x, ok := conditionOf(s, v, e.X)
		return func(high Pins) bool { return !x(high) }, ok
	case Gated:
		var in []Condition
		for _, k := range e.In {
			x, ok := conditionOf(s, v, k)
			if !ok {
				return nil, false
			}
			in = append(in, x)
		}
		return func(high Pins) bool {
			odd, all, any := false, true, false
			for _, x := range in {
				level := x(high)
				odd, all, any = odd != level, all && level, any || level
			}
			return map[string]bool{"&": all, "|": any, "^": odd}[e.Op]
		}, true
	}
	return nil, false
}

// cutFamilies splits the families of … in FAMILY FAMILY off a line.
func (b *builder) cutFamilies(l line) (head []token, families []*Family, err error) {
	at := slices.IndexFunc(l.tokens, func(t token) bool { return t.kind == nameToken && t.text == "in" })
	if at < 0 {
		return l.tokens, nil, nil
	}
	for _, t := range l.tokens[at+1:] {
		f := FamilyByName(t.text)
		if f == nil || f.Name != t.text {
			return nil, nil, b.src.errorAt(l, t.col, "there is no family %s", t.text)
		}
		families = append(families, f)
	}
	if families == nil {
		return nil, nil, b.src.errorAt(l, l.tokens[at].col, "name the families: in 74 74L")
	}
	return l.tokens[:at], families, nil
}

// formula reads width 0.28 RC offset 700 within 15 "source" in 74, or period 2.2 to 2.4 RC
// duty 45 to 55 within 10 "source".
func (b *builder) formula(t *Timing, l line) error {
	head, families, err := b.cutFamilies(l)
	if err != nil {
		return err
	}
	f := Formula{families: families, Duty: [2]float64{0, 1}}
	i := 1
	number := func(what string, least, most float64) (x float64) {
		if err != nil {
			return 0
		}
		if i >= len(head) {
			err = b.src.errorAt(l, len([]rune(l.text))+1, "%s is missing: width 0.28 RC offset 700 within 15 \"data sheet\"", what)
			return 0
		}
		x, bad := strconv.ParseFloat(head[i].text, 64)
		if bad != nil || x < least || x > most {
			err = b.src.errorAt(l, head[i].col, "%s is a number from %g to %g, not %s", what, least, most, head[i].text)
		}
		i++
		return x
	}
	word := func(w string) bool {
		if err == nil && i < len(head) && head[i].text == w {
			i++
			return true
		}
		return false
	}
	f.Least = number("the factor", 0.01, 1e6)
	f.Most = f.Least
	if word("to") {
		f.Most = number("the factor", f.Least, 1e6)
	}
	if err == nil && !word("RC") {
		col := len([]rune(l.text)) + 1
		if i < len(head) {
			col = head[i].col
		}
		return b.src.errorAt(l, col, "RC must follow the factor: width 0.7 RC")
	}
	if word("offset") {
		f.Offset = number("the offset in ohms", 0, 1e5)
	}
	if word("duty") {
		f.Duty[0] = number("the duty in percent", 0, 100) / 100
		f.Duty[1] = f.Duty[0]
		if word("to") {
			f.Duty[1] = number("the duty in percent", 100*f.Duty[0], 100) / 100
		}
	}
	if word("within") {
		f.Within = number("the tolerance in percent", 0, 90) / 100
	}
	if err != nil {
		return err
	}
	if i != len(head)-1 || head[i].kind != quoted {
		return b.src.errorAt(l, head[min(i, len(head)-1)].col, "the source must follow in quotes: width 0.7 RC \"SN74221 data sheet\"")
	}
	f.Source = head[i].text
	t.formulas = append(t.formulas, f)
	return nil
}

// belowGround reads below ground "why" in 74.
func (b *builder) belowGround(t *Timing, l line) error {
	head, families, err := b.cutFamilies(l)
	if err != nil {
		return err
	}
	if len(head) != 3 || head[1].text != "ground" || head[2].kind != quoted {
		return b.src.errorAt(l, 1, "write below ground and why the time is not judged then: below ground \"the node …\"")
	}
	t.below = append(t.below, below{head[2].text, families})
	return nil
}

// checkTiming sees that a timing is whole.
func (b *builder) checkTiming(t *Timing, l line) error {
	switch {
	case t.Positive == 0:
		return b.src.errorAt(l, 1, "the timing has no capacitor")
	case t.Supplied == 0 && t.Resistor[0] == 0:
		return b.src.errorAt(l, 1, "the timing has no resistor")
	case t.Output == 0:
		return b.src.errorAt(l, 1, "the timing has no pulse: name its output")
	case t.Oscillates == (len(t.Triggers) > 0):
		return b.src.errorAt(l, 1, "a timing has triggers, or it runs")
	case len(t.formulas) == 0:
		return b.src.errorAt(l, 1, "the timing has no width and no period")
	}
	if !t.Oscillates && (t.Undivided != 0 || t.Faster != 0) {
		return b.src.errorAt(l, 1, "divided and faster are for what runs")
	}
	for _, f := range b.v.Families {
		if len(t.In(f)) == 0 {
			return b.src.errorAt(l, 1, "the timing has no width or period in family %s", f.Name)
		}
	}
	return nil
}
