package fault

import (
	"fmt"
	"slices"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// leastDetected is the share of the detectable faults, in percent, that a section's
// vectors must show before it may be called tested.
const leastDetected = 99

// A Section is a part of the chip that shares nothing with the rest, with what the
// vectors ask of it: a gate of a 7400, a flip-flop of a 7474, a whole 74161.
type Section struct {
	Name       string    `json:"name,omitempty"` // its gates, "1" or "A to D"; empty where the part has none or they are one section
	Pins       part.Pins `json:"pins"`           // signal pins
	Detectable int       `json:"detectable"`     // faults of every model
	Detected   int       `json:"detected"`
	// Lacking says what is missing for the section to be called tested, the likeliest
	// to matter first; empty where nothing is.
	Lacking []string `json:"lacking,omitempty"`
	// Untested are pins that the definition leaves out.
	Untested part.Pins `json:"untested,omitempty"`
	// Unreached are the stages of a divider that the vectors never bring to both
	// levels, as "count[17]".
	Unreached []string `json:"unreached,omitempty"`
}

// Whole reports whether the section may be called tested.
func (s Section) Whole() bool { return len(s.Lacking) == 0 }

// sections takes the chip apart and holds each part of it against the floor: every
// output expected at both of its levels, every input shown to matter, and nearly all
// detectable faults shown.
func (x *Examination) sections() (all []Section) {
	v := x.Circuit.Variant
	c := x.model.Circuit
	shown := levelsShown(x.Sequence)
	for _, k := range c.Components() {
		s := Section{Pins: k.Inputs | k.Outputs, Name: sectionName(v, k.Inputs|k.Outputs)}
		if x.idleOutputs(k) {
			continue
		}
		for pin := range s.Pins.All() {
			p := v.Pins[pin-1]
			s.Untested = s.Untested.With(pin, p.Untested != "")
		}
		x.count(&s, k)
		x.lackingOutputs(&s, k, shown)
		x.lackingInputs(&s, k)
		if !enough(s.Detected, s.Detectable) {
			s.lack("only %d of %d detectable faults are shown", s.Detected, s.Detectable)
		}
		if !s.Whole() {
			x.unreached(&s, k)
		}
		all = append(all, s)
	}
	return all
}

func (s *Section) lack(format string, args ...any) {
	s.Lacking = append(s.Lacking, fmt.Sprintf(format, args...))
}

// enough reports whether so many of the detectable faults are detected as a pass asks for.
func enough(detected, detectable int) bool { return detected*100 >= detectable*leastDetected }

// leastDivider is how many bits a register has that is taken for a divider.
const leastDivider = 12

// unreached names the stages of dividers in a component that never leave a level,
// first of what is lacking.
func (x *Examination) unreached(s *Section, k logic.Component) {
	good := x.Circuit.NewMachine()
	high, low := make([]bool, len(x.Circuit.State)), make([]bool, len(x.Circuit.State))
	for _, st := range x.Sequence.Steps {
		drive(good, x.Circuit, st)
		for _, bit := range k.State {
			v := good.State(bit).Lane(0)
			high[bit], low[bit] = high[bit] || v == logic.One, low[bit] || v == logic.Zero
		}
	}
	for _, r := range x.Circuit.Registers {
		for _, bit := range r.Bits {
			if len(r.Bits) >= leastDivider && slices.Contains(k.State, bit) && !(high[bit] && low[bit]) {
				s.Unreached = append(s.Unreached, x.Circuit.State[bit].Name)
			}
		}
	}
	if n := len(s.Unreached); n > 0 {
		s.Lacking = slices.Insert(s.Lacking, 0, fmt.Sprintf("%d stages are not reached, %s the first", n, s.Unreached[n-1]))
	}
}

// sectionName names the gates that lie in a section.
func sectionName(v *part.Variant, pins part.Pins) string {
	var names []string
	for _, g := range v.Gates {
		if own := part.PinSet(g.Pins...); own&^pins == 0 {
			names = append(names, g.Name)
		}
	}
	switch {
	case len(names) == 0 || len(names) == len(v.Gates) && len(names) > 1:
		return ""
	case len(names) == 1:
		return names[0]
	}
	return names[0] + " to " + names[len(names)-1]
}

// count counts the faults of every model that belong to a component.
func (x *Examination) count(s *Section, k logic.Component) {
	add := func(e Evidence, undetectable bool) {
		if !undetectable {
			s.Detectable++
		}
		if e.Once > 0 {
			s.Detected++
		}
	}
	within := func(n int32) bool {
		_, in := slices.BinarySearch(k.Nodes, n)
		return in
	}
	for i, e := range x.lines {
		if within(x.model.Classes[i][0].Node) {
			add(e, e.Once == 0 && x.lineProven[i])
		}
	}
	for i, e := range x.cell {
		n := x.cells[i].Inverted
		if n == 0 {
			n = x.model.Circuit.State[x.Circuit.Registers[x.cells[i].Register].Bits[0]].Node
		}
		if within(n) {
			add(e, e.Once == 0 && x.cellProven[i])
		}
	}
	for i, e := range x.pin {
		f := x.pins[i]
		if f.Kind == Unpowered || f.Pins()&^s.Pins != 0 {
			continue
		}
		if f.Kind == Short && e.Once == 0 {
			if joinedInside(x.Circuit, f) {
				continue
			}
			e.Once = 1 // the test before power finds it
		}
		add(e, false)
	}
}

// shownLevels are the levels at which pins are expected in some step.
type shownLevels struct{ high, low, released part.Pins }

func levelsShown(s *stimulus.Sequence) (l shownLevels) {
	for _, st := range s.Steps {
		l.high |= st.High &^ st.Z
		l.low |= st.Compared &^ st.High &^ st.Z
		l.released |= st.Z & st.Compared
	}
	return l
}

// lackingOutputs notes outputs that are not expected at both of their levels. One
// whose function is constant is exempt.
func (x *Examination) lackingOutputs(s *Section, k logic.Component, shown shownLevels) {
	v := x.Circuit.Variant
	compared := 0
	for _, o := range x.model.Circuit.Outputs {
		p := v.Pins[o.Pin-1]
		if !k.Outputs.Has(o.Pin) || p.Untested != "" {
			continue
		}
		compared++
		first, second, names := shown.low, shown.high, [2]string{"low", "high"}
		switch o.Stage {
		case part.OpenCollector:
			second, names[1] = shown.released|shown.high, "released"
			if p.PullUp { // the resistor inside: it is read as an input there
				second |= part.PinSet(o.Pin)
			}
		case part.OpenEmitter:
			first, names[0] = shown.released|shown.low, "released"
		}
		for i, seen := range []part.Pins{first, second} {
			if !seen.Has(o.Pin) && !x.constant(o) {
				s.lack("output %s is never expected %s", p.Name, names[i])
			}
		}
	}
	if compared == 0 {
		s.lack("no output of it is compared")
	}
}

// idleOutputs reports whether a component has no output that ever leaves its level:
// there is nothing to test it by.
func (x *Examination) idleOutputs(k logic.Component) bool {
	return !slices.ContainsFunc(x.model.Circuit.Outputs, func(o logic.Output) bool {
		return k.Outputs.Has(o.Pin) && !x.constant(o)
	})
}

// constant reports whether the function never lets an output leave its level: by its
// form, or because that is proven where no pin is held or left out.
func (x *Examination) constant(o logic.Output) bool {
	c := x.model.Circuit
	n := o.Node
	for c.Nodes[n].Op == logic.Buf {
		n = c.Nodes[n].In[0]
	}
	switch c.Nodes[n].Op {
	case logic.Const0, logic.Const1, logic.ConstZ:
		return true
	}
	if slices.ContainsFunc(c.Variant.Pins, func(p part.Pin) bool { return p.Untested != "" || p.Tied != part.NotTied }) {
		return false
	}
	for i, class := range x.model.Classes {
		if x.lineProven[i] && x.lines[i].Once == 0 && slices.ContainsFunc(class, func(l Line) bool { return l.Node == o.Node }) {
			return true
		}
	}
	return false
}

// lackingInputs notes inputs of which no step shows that they matter.
func (x *Examination) lackingInputs(s *Section, k logic.Component) {
	v := x.Circuit.Variant
	driven := 0
	for pin := range k.Inputs.All() {
		p := v.Pins[pin-1]
		if p.Role != part.Input || p.Tied != part.NotTied || p.Untested != "" {
			continue
		}
		driven++
		if p.Opposite != 0 { // what shows it is measured
			continue
		}
		matters := false
		for i, f := range x.pins {
			matters = matters || f.Pin == pin && (f.Kind == StuckLow || f.Kind == StuckHigh) && x.pin[i].Once > 0
		}
		if !matters {
			s.lack("no step shows that input %s matters", p.Name)
		}
	}
	if driven == 0 && k.Inputs != 0 && !slices.ContainsFunc(v.Pins, func(p part.Pin) bool { return p.Role == part.Bidirectional && k.Inputs.Has(p.Number) }) {
		s.lack("no input of it is driven")
	}
}
