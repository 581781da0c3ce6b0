package part

import (
	"slices"
	"strconv"
)

// eachPin calls do for each pin named from token i of a line on.
func (b *builder) eachPin(l line, i int, do func(*Pin) error) error {
	names, err := b.src.names(l, i)
	if err != nil {
		return err
	}
	if b.v.Pins == nil {
		return b.src.errorAt(l, 1, "the package must stand above this line")
	}
	for _, name := range names {
		p := b.v.Pin(name)
		if p == nil || name == "NC" {
			return b.src.errorAt(l, columnOf(l, name), "the package has no pin %s", name)
		}
		if err := do(p); err != nil {
			return err
		}
	}
	return nil
}

// columnOf finds where a name stands in a line, or the range that holds it.
func columnOf(l line, name string) int {
	for _, t := range l.tokens {
		if t.text == name {
			return t.col
		}
		if t.kind == rangeToken {
			if names, err := expandRange(t.text); err == nil && slices.Contains(names, name) {
				return t.col
			}
		}
	}
	return 1
}

// pinStatement applies a statement that says what pins are for, or what is special about them.
func (b *builder) pinStatement(st statement) error {
	l := st.line
	switch st.keyword {
	case "inputs":
		return b.role(st, 1, Input, NoStage)
	case "outputs":
		stage, next := stageWord(l, TotemPole)
		return b.role(st, next, Output, stage)
	case "bidirectional":
		stage, next := stageWord(l, ThreeState)
		return b.role(st, next, Bidirectional, stage)
	case "external":
		return b.role(st, 1, External, NoStage)
	case "expander":
		return b.role(st, 1, Expander, NoStage)
	case "tie":
		return b.tie(l)
	case "schmitt":
		return b.eachPin(l, 1, func(p *Pin) error { p.Schmitt = true; return nil })
	case "pull-up":
		return b.eachPin(l, 3, func(p *Pin) error { p.PullUp = true; return nil })
	case "differential":
		return b.differential(l)
	case "receiver":
		return b.eachPin(l, 1, func(p *Pin) error { p.Receiver = true; return nil })
	case "diodeless":
		return b.eachPin(l, 1, func(p *Pin) error { p.Diodeless = true; return nil })
	case "trip":
		if len(l.tokens) < 3 {
			return b.src.errorAt(l, 1, "write the percentage of the supply and the inputs: trip 67 THR")
		}
		at, err := strconv.ParseFloat(l.tokens[1].text, 64)
		if err != nil || at < 10 || at > 90 {
			return b.src.errorAt(l, l.tokens[1].col, "a comparator trips at 10 to 90 percent of the supply, not %s", l.tokens[1].text)
		}
		return b.eachPin(l, 2, func(p *Pin) error { p.Trip = at / 100; return nil })
	case "load":
		if len(l.tokens) < 2 {
			return b.src.errorAt(l, 1, "write the unit loads and the pins: load 2 CLK")
		}
		load, err := strconv.ParseFloat(l.tokens[1].text, 64)
		if err != nil || load <= 0 || load > 100 {
			return b.src.errorAt(l, l.tokens[1].col, "the load is a number of unit loads above 0, as in load 2 CLK or load 1.25 /OE")
		}
		return b.load(l, load)
	case "drive":
		class := map[string]Drive{"standard": StandardDrive, "buffer": BufferDrive, "bus": BusDrive}
		if len(l.tokens) < 3 {
			return b.src.errorAt(l, 1, "write the class and the pins: drive buffer 1Y..4Y")
		}
		drive, ok := class[l.tokens[1].text]
		if !ok {
			return b.src.errorAt(l, l.tokens[1].col, "the drive is standard, buffer or bus")
		}
		return b.eachPin(l, 2, func(p *Pin) error { p.Drive = drive; return nil })
	}
	return b.src.errorAt(l, l.tokens[0].col, "%s is not expected here", l.tokens[0].text)
}

// load reads the pins of load N NAME NAME, and the families of load N NAME NAME in FAMILY FAMILY.
func (b *builder) load(l line, load float64) error {
	at := slices.IndexFunc(l.tokens, func(t token) bool { return t.kind == nameToken && t.text == "in" })
	if at < 0 {
		return b.eachPin(l, 2, func(p *Pin) error { p.Load, p.loads = load, nil; return nil })
	}
	var families []*Family
	for _, t := range l.tokens[at+1:] {
		f := FamilyByName(t.text)
		if f == nil || f.Name != t.text {
			return b.src.errorAt(l, t.col, "there is no family %s", t.text)
		}
		families = append(families, f)
	}
	if len(families) == 0 {
		return b.src.errorAt(l, l.tokens[at].col, "name the families: load 2 CLK in 74 74H")
	}
	return b.eachPin(line{number: l.number, text: l.text, tokens: l.tokens[:at]}, 2, func(p *Pin) error {
		if p.loads == nil {
			p.loads = map[*Family]float64{}
		}
		for _, f := range families {
			p.loads[f] = load
		}
		return nil
	})
}

// stageWord reads an output stage such as open-collector from token 1 of a line.
func stageWord(l line, usual Stage) (stage Stage, next int) {
	if len(l.tokens) > 3 && l.tokens[2].text == "-" {
		word := l.tokens[1].text + "-" + l.tokens[3].text
		for _, s := range []Stage{TotemPole, OpenCollector, OpenEmitter} {
			if word == s.String() {
				return s, 4
			}
		}
		if word == ThreeState.String() {
			return ThreeState, 4
		}
	}
	return usual, 1
}

// role gives pins their role; only a pin of a part that this one is like may have had one before.
func (b *builder) role(st statement, next int, role Role, stage Stage) error {
	return b.eachPin(st.line, next, func(p *Pin) error {
		if p.Role == Supply || p.Role == Ground {
			return b.src.errorAt(st.line, columnOf(st.line, p.Name), "%s is a supply pin", p.Name)
		}
		if at, ok := b.pinAt[p.Name]; ok && st.inherited == 0 && p.Role != NoConnect && !b.inheritedRole(at) {
			return b.src.errorAt(st.line, columnOf(st.line, p.Name), "pin %s has its role already, from line %d", p.Name, at.number)
		}
		p.Role, p.Stage, p.Tied = role, stage, NotTied
		b.pinAt[p.Name] = st.line
		return nil
	})
}

// inheritedRole reports whether a line belongs to an earlier part of the file.
func (b *builder) inheritedRole(at line) bool { return at.number < b.block.head.number }

func (b *builder) tie(l line) error {
	if len(l.tokens) < 3 || l.tokens[1].text != "low" && l.tokens[1].text != "high" {
		return b.src.errorAt(l, 1, "write the level and the pins: tie low VEE")
	}
	level := TiedLow
	if l.tokens[1].text == "high" {
		level = TiedHigh
	}
	return b.eachPin(l, 2, func(p *Pin) error {
		if p.Role == NoConnect {
			p.Role = Input
		}
		if p.Role != Input && p.Role != Bidirectional {
			return b.src.errorAt(l, columnOf(l, p.Name), "pin %s is %s: only an input can be tied", p.Name, p.Role)
		}
		p.Tied = level
		b.pinAt[p.Name] = l
		return nil
	})
}

// differential makes two inputs those of one receiver of a balanced line.
func (b *builder) differential(l line) error {
	var pins []*Pin
	err := b.eachPin(l, 1, func(p *Pin) error {
		if p.Role != Input {
			return b.src.errorAt(l, columnOf(l, p.Name), "pin %s is %s: name the inputs first", p.Name, p.Role)
		}
		pins = append(pins, p)
		return nil
	})
	if err != nil {
		return err
	}
	if len(pins) != 2 || pins[0] == pins[1] {
		return b.src.errorAt(l, 1, "name the two inputs of one receiver: differential 1A 1B")
	}
	for i, p := range pins {
		p.Opposite, p.Receiver, p.Diodeless = pins[1-i].Number, true, true
	}
	return nil
}

// unsupplied makes a pin the one that stands for the supply pin that the part has not.
func (b *builder) unsupplied(l line) error {
	if len(l.tokens) != 2 {
		return b.src.errorAt(l, 1, "name the one pin that the supply of the loads goes to: unsupplied COM")
	}
	return b.eachPin(l, 1, func(p *Pin) error {
		if p.Role != NoConnect && p.Role != Supply {
			return b.src.errorAt(l, l.tokens[1].col, "pin %s is %s", p.Name, p.Role)
		}
		p.Role, b.v.Unsupplied = Supply, true
		return nil
	})
}

// checkPins sees that each pin has a role and that there is a supply.
func (b *builder) checkPins() error {
	if b.v.Pins == nil {
		return b.src.errorAt(b.head, 1, "part %s has no package statement", b.part.Number)
	}
	supplies, grounds := 0, 0
	for _, p := range b.v.Pins {
		switch {
		case p.Role == Supply:
			supplies++
		case p.Role == Ground:
			grounds++
		case p.Role == NoConnect && p.Name != "NC":
			return b.src.errorAt(b.head, 1, "pin %d (%s) has no role: name it in inputs, outputs, bidirectional, external, expander or tie, or call it NC in the package", p.Number, p.Name)
		}
	}
	if (supplies != 1 || grounds != 1) && b.v.Refusal == "" {
		return b.src.errorAt(b.head, 1, "the package must have one positive supply pin (VCC or VDD) and one ground pin (GND or VSS); name further ones otherwise and tie them")
	}
	return nil
}

// join groups the pins of the joined statements.
func (b *builder) join() error {
	for _, l := range b.joins {
		var group []int
		err := b.eachPin(l, 1, func(p *Pin) error {
			if slices.Contains(group, p.Number) || b.v.JoinedWith(p.Number) != nil {
				return b.src.errorAt(l, columnOf(l, p.Name), "pin %s is joined already: name all that one path inside joins in one statement", p.Name)
			}
			group = append(group, p.Number)
			return nil
		})
		if err != nil {
			return err
		}
		if len(group) < 2 {
			return b.src.errorAt(l, 1, "name at least two pins that a path inside joins: joined Y1 Z1")
		}
		slices.Sort(group)
		b.v.Joined = append(b.v.Joined, group)
	}
	return nil
}
