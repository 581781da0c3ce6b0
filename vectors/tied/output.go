package tied

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/twolevel"
)

// A Kind is what an output becomes.
type Kind uint8

// The kinds.
const (
	Combines    Kind = iota // a function of inputs, a constant among them
	Remembers               // it depends on what was before
	Released                // it is never driven
	Unspecified             // the data sheet leaves its level open
	TooWide                 // a function of more inputs than are minimised
)

// An Output is what an output pin becomes.
type Output struct {
	Pin    int
	Stage  part.Stage
	Kind   Kind
	Inputs []int // that it depends on, by name; of Combines input i of the expressions
	Names  []string
	// Function and Is are those of the output while it is driven.
	Function twolevel.Function
	Is       twolevel.Expression
	// Driven says when it is driven; nil for always.
	Driven *twolevel.Expression
	// Changed tells whether the output depends on a tied input in the part as it is.
	Changed bool

	levels []logic.Value // in each row of Inputs
}

// Outputs gives what every output of the part becomes, in the order of their names.
func (u *Use) Outputs() (all []Output) {
	for _, o := range u.Circuit.Outputs {
		if p := u.Circuit.Variant.Pins[o.Pin-1]; p.Untested == "" {
			out := u.output(o)
			out.Changed = u.touches(o.Node)
			all = append(all, out)
		}
	}
	slices.SortFunc(all, func(a, b Output) int { return compareNames(u.Circuit.Variant, a.Pin, b.Pin) })
	return all
}

// sortByName sorts pins as a function table names them: 1A 1B 2A, A9 A10.
func sortByName(v *part.Variant, pins []int) {
	slices.SortFunc(pins, func(a, b int) int { return compareNames(v, a, b) })
}

func compareNames(v *part.Variant, a, b int) int {
	name := func(pin int) (text string) {
		digits := ""
		for _, r := range strings.TrimPrefix(v.Pins[pin-1].Name, "/") + " " {
			if r >= '0' && r <= '9' {
				digits += string(r)
				continue
			}
			if digits != "" {
				text, digits = text+fmt.Sprintf("%04s", digits), ""
			}
			text += string(r)
		}
		return text
	}
	return cmp.Or(cmp.Compare(name(a), name(b)), cmp.Compare(a, b))
}

// touches tells whether what a node depends on in the untied part is tied.
func (u *Use) touches(n int32) bool {
	inputs, _ := u.untied().depends(n)
	return slices.ContainsFunc(u.Ties, func(t Tie) bool { return inputs.Has(t.Pin) })
}

// untied is the part of which nothing is known.
func (u *Use) untied() *Use {
	return &Use{Circuit: u.Circuit, known: make([]logic.Value, len(u.Circuit.Nodes))}
}

// output says what an output becomes, with its expressions.
func (u *Use) output(o logic.Output) Output {
	out := u.bare(o)
	if out.Kind != Combines {
		return out
	}
	out.Is = twolevel.Express(out.Function)
	if slices.Contains(out.levels, logic.Z) {
		driven := twolevel.Express(twolevel.Of(len(out.Inputs), func(row int) twolevel.Level {
			if out.levels[row] == logic.Z {
				return twolevel.Low
			}
			return twolevel.High
		}))
		out.Driven = &driven
	}
	return out
}

// bare says what an output becomes, without the expressions, which take longer.
func (u *Use) bare(o logic.Output) Output {
	out := Output{Pin: o.Pin, Stage: o.Stage}
	pins, remembers := u.depends(o.Node)
	for pin := range pins.All() {
		out.Inputs = append(out.Inputs, pin)
	}
	v := u.Circuit.Variant
	sortByName(v, out.Inputs)
	for _, pin := range out.Inputs {
		out.Names = append(out.Names, v.Pins[pin-1].Name)
	}
	if len(out.Inputs) > twolevel.MaxInputs {
		out.Kind = TooWide
		if remembers {
			out.Kind = Remembers
		}
		return out
	}
	levels := u.table(o.Node, out.Inputs)
	out.levels = levels
	switch {
	case remembers && slices.Contains(levels, logic.X):
		out.Kind = Remembers
		return out
	case !slices.ContainsFunc(levels, func(v logic.Value) bool { return v != logic.Z }):
		out.Kind = Released
		return out
	case !slices.ContainsFunc(levels, func(v logic.Value) bool { return v != logic.X }):
		out.Kind = Unspecified
		return out
	}
	out.Function = functionOf(len(out.Inputs), levels)
	return out
}

// table gives the level of a node in each row of some inputs, all others unknown,
// from an unknown state: what is known then does not depend on what was before. Rows
// that the data sheet forbids are left open.
func (u *Use) table(node int32, inputs []int) (levels []logic.Value) {
	c := u.Circuit
	m := c.NewMachine()
	for base := 0; base < 1<<len(inputs); base += 64 {
		m.Reset()
		u.hold(m)
		for i, pin := range inputs {
			m.Set(pin, rowWord(base, i))
			for joined, to := range u.stands {
				if to == pin {
					m.Set(joined, rowWord(base, i))
				}
			}
		}
		m.Settle()
		forbidden := uint64(0)
		for _, n := range c.Never {
			w := m.Node(n)
			forbidden |= w.Hi &^ w.Lo
		}
		w := m.Node(node)
		for lane := range min(64, 1<<len(inputs)-base) {
			v := w.Lane(lane)
			if forbidden>>lane&1 != 0 {
				v = logic.X
			}
			levels = append(levels, v)
		}
	}
	return levels
}

// functionOf makes a function of the levels of a table.
func functionOf(inputs int, levels []logic.Value) twolevel.Function {
	return twolevel.Of(inputs, func(row int) twolevel.Level {
		switch levels[row] {
		case logic.Zero:
			return twolevel.Low
		case logic.One:
			return twolevel.High
		}
		return twolevel.Either
	})
}

// rowWord holds input i in the rows from base on.
func rowWord(base, i int) logic.Word {
	var high uint64
	for lane := range 64 {
		high |= uint64(base+lane) >> i & 1 << lane
	}
	return logic.Word{Hi: high, Lo: ^high}
}

// Language writes what the output is in the language of the part definitions;
// empty for what is no expression of the inputs.
func (o Output) Language() string {
	switch o.Kind {
	case Combines:
		if o.Driven != nil {
			return fmt.Sprintf("%s ? %s : z", o.Driven.In(o.Names), o.Is.In(o.Names))
		}
		return o.Is.In(o.Names)
	case Released:
		return "z"
	case Unspecified:
		return "x"
	}
	return ""
}

// form is the same for outputs that are alike but for the names of their inputs.
func (o Output) form() string {
	named := o
	named.Names = nil
	for i := range o.Names {
		named.Names = append(named.Names, string(rune('a'+i)))
	}
	return named.Words()
}

// Words says what the output is: "NOT (1A AND 1B AND 1C): a 3-input NAND".
func (o Output) Words() string {
	switch o.Kind {
	case Remembers:
		if len(o.Inputs) == 0 {
			return "remembers what it came up with; nothing changes it"
		}
		return "remembers; changed by " + strings.Join(o.Names, " ")
	case Released:
		return "never driven: z"
	case Unspecified:
		return "not specified by the data sheet"
	case TooWide:
		return fmt.Sprintf("a function of %d inputs, too many to minimise", len(o.Inputs))
	}
	text := o.Is.Words(o.Names)
	if _, ok := o.Is.Constant(); ok {
		text = "always " + text
	}
	if gate := o.Is.Gate(); gate != "" {
		text += ": " + article(gate)
	}
	switch {
	case o.Driven != nil:
		text += ", while " + o.Driven.Words(o.Names) + ", else z"
	case o.Stage == part.OpenCollector:
		text += ", open collector"
	case o.Stage == part.OpenEmitter:
		text += ", open emitter"
	}
	return text
}

func article(name string) string {
	if strings.ContainsAny(name[:1], "aeiouAEIO8") {
		return "an " + name
	}
	return "a " + name
}
