package substitute

import (
	"fmt"
	"reflect"
	"slices"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/proof"
	"chipassay/vectors/stimulus"
	"chipassay/vectors/twin"
)

// dropIn tells whether a variant fits the part's socket and answers its whole test,
// and what of its pins differs. Where levels alone do not show the function, only the
// part itself in its other families does.
func (l looker) dropIn(v *part.Variant) (extra []Difference, ok bool) {
	of := l.of.Variant
	switch {
	case l.itself(v):
		return l.timing(v, same), true
	case l.untold || v.Memory != nil || v.Refusal != "" || len(v.Pins) != len(of.Pins) || v.VCC() != of.VCC() || v.GND() != of.GND():
		return nil, false
	}
	extra, ok = socket(of, v)
	if !ok {
		return nil, false
	}
	if !answers(v, l.sequence, same) {
		return nil, false
	}
	if !l.contained(v, same) {
		extra = append(extra, l.more())
	}
	return append(extra, l.timing(v, same)...), true
}

// socket tells whether a variant's pins may stand where the other's do, and what is to be
// done about those that differ.
func socket(of, v *part.Variant) (extra []Difference, ok bool) {
	for i, p := range of.Pins {
		q := v.Pins[i]
		switch {
		case p.Role == q.Role:
		case q.Role == part.NoConnect:
			if p.Role != part.Supply && p.Role != part.Ground {
				extra = append(extra, missing(p))
			}
		case p.Role == part.NoConnect && q.Role == part.Input:
			extra = append(extra, Difference{Words: fmt.Sprintf("pin %d is an input (%s): tie it", q.Number, q.Name), Change: true})
		case p.Role == part.NoConnect && q.Role == part.Expander:
			extra = append(extra, Difference{Words: fmt.Sprintf("pin %d (%s) stays open", q.Number, q.Name), Change: true})
		case p.Role == part.NoConnect && q.Role == part.Output:
		default:
			return nil, false
		}
	}
	return extra, true
}

func same(pin int) int { return pin }

func (l looker) more() Difference {
	return Difference{Words: fmt.Sprintf("does more where the %s is not specified", l.of.Name()), Change: false}
}

// contained tells whether the part answers the whole test of a variant in turn; to
// gives the part's pin for each of the variant's, 0 for none.
func (l looker) contained(v *part.Variant, to func(int) int) bool {
	p, err := proof.Of(part.Type{Variant: v, Family: v.Families[0]}, nil)
	return err == nil && answers(l.of.Variant, p.Sequence, to)
}

// renamed tells whether a variant has the part's signal pins by name at other
// numbers, and each answers the other's whole test.
func (l looker) renamed(v *part.Variant) bool {
	to, back := map[int]int{}, map[int]int{}
	for _, p := range l.of.Variant.Pins {
		if p.Role == part.NoConnect || p.Role == part.Supply || p.Role == part.Ground {
			continue
		}
		q := v.Pin(p.Name)
		if q == nil || q.Role != p.Role {
			return false
		}
		to[p.Number], back[q.Number] = q.Number, p.Number
	}
	for _, q := range v.Pins {
		if signal := q.Role == part.Input || q.Role == part.Output || q.Role == part.Bidirectional; signal && back[q.Number] == 0 {
			return false
		}
	}
	return v.Refusal == "" && answers(v, l.sequence, func(pin int) int { return to[pin] }) &&
		l.contained(v, func(pin int) int { return back[pin] })
}

// named gives a variant's pin of the same name.
func (l looker) named(v *part.Variant) func(int) int {
	return func(pin int) int {
		if q := v.Pin(l.of.Variant.Pins[pin-1].Name); q != nil {
			return q.Number
		}
		return 0
	}
}

// answers tells whether a part, from some state at power-up, gives every level that a
// sequence expects, its output stages apart: an open collector counts as the high that
// its pull-up makes. To gives its pin for each of the sequence's, 0 for none. A level
// that its definition leaves open is no answer.
func answers(v *part.Variant, s *stimulus.Sequence, to func(int) int) bool {
	c, err := logic.Compile(v)
	if err != nil {
		return false
	}
	nodes := map[int]int32{}
	for _, o := range c.Outputs {
		nodes[o.Pin] = o.Node
	}
	from := map[int]int{}
	for _, p := range s.Variant.Pins {
		from[to(p.Number)] = p.Number
	}
	m := c.NewMachine()
	m.PowerUp(1)
	alive := ^uint64(0)
	for _, st := range s.Steps {
		apply(m, c, st, from)
		for pin := range st.Compared.All() {
			node, ok := nodes[to(pin)]
			if !ok {
				return false
			}
			want, _ := st.Expect(pin)
			if alive &= twin.Agree(m.Node(node), want, s.Variant.Pins[pin-1].Stage); alive == 0 {
				return false
			}
		}
	}
	return true
}

// apply sets the inputs of a step: what is not driven takes what the chip drives there,
// or what a resistor inside makes.
func apply(m *logic.Machine, c *logic.Circuit, st stimulus.Step, from map[int]int) {
	for range 2 { // what the chip drives may change with the inputs
		undriven := false
		for _, pin := range c.InputPins {
			if at := from[pin]; at != 0 && st.Driven.Has(at) {
				m.Set(pin, logic.Splat(logic.FromBool(st.Drive.Has(at))))
				continue
			}
			undriven = true
			w := logic.Splat(logic.X)
			switch p := c.Variant.Pins[pin-1]; {
			case p.Tied != part.NotTied:
				w = logic.Splat(logic.FromBool(p.Tied == part.TiedHigh))
			case p.Role == part.Bidirectional:
				w = m.Out(pin)
				if p.PullUp {
					w.Hi |= ^(w.Hi | w.Lo)
				}
			case p.PullUp:
				w = logic.Splat(logic.One)
			}
			m.Set(pin, w)
		}
		m.Settle()
		if !undriven {
			return
		}
	}
}

// memories are those of the same organisation on the same pins, of as many supplies.
func memories(t part.Type, parts []*part.Part, load Load) (all []Substitute) {
	of := t.Variant
	timeless := func(v *part.Variant) part.Memory {
		m := *v.Memory
		m.Access, m.WritePulse, m.RefreshWithin = 0, 0, 0
		m.Rewrite, m.NoRewrite = nil, ""                          // in most sockets an EEPROM is only read
		m.RowBits, m.ColumnBits, m.Row, m.Column = 0, 0, nil, nil // the array inside
		return m
	}
	for _, p := range parts {
		for _, v := range p.Variants {
			if v.Memory == nil || len(v.Pins) != len(of.Pins) || !reflect.DeepEqual(timeless(v), timeless(of)) || !sameSupplies(v, of) {
				continue
			}
			extra, ok := socket(of, v)
			if !ok {
				continue
			}
			if of.Memory.Rewrite != nil && v.Memory.Rewrite == nil {
				extra = append(extra, Difference{Words: "may not be written with 5 V alone: only where it is read", Change: true})
			}
			if a, b := v.Memory.Access, of.Memory.Access; a != b {
				extra = append(extra, Difference{Words: fmt.Sprintf("slowest grade %d ns, not %d: mind the suffix", a.Nanoseconds(), b.Nanoseconds()), Change: a > b})
			}
			all = append(all, looker{of: t, load: load}.byFamily(v, extra)...)
		}
	}
	return all
}

// sameSupplies tells whether two parts take the same voltages at the same pins: what needs
// more than 5 V has them by other names, and is refused.
func sameSupplies(v, of *part.Variant) bool {
	supplies := func(v *part.Variant) (names []string) {
		for _, p := range v.Pins {
			if p.Role == part.Supply || p.Role == part.Ground || p.Role == part.External && v.Refusal != "" {
				names = append(names, fmt.Sprintf("%s %d", p.Name, p.Number))
			}
		}
		return names
	}
	return (v.Refusal == "") == (of.Refusal == "") && slices.Equal(supplies(v), supplies(of))
}
