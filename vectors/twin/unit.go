// Package twin finds in one part what does the same as another part that remembers, pin
// by pin: the same flip-flop under other names, on other pins, in another number, or with
// inputs left over that are held at a level or joined.
//
// A part is taken apart into units, such as the flip-flops of a 7474. Pins are paired by
// what their inputs do in the registers and by name; what is proposed counts only if the
// one then answers the other's whole test in simulation.
package twin

import (
	"cmp"
	"slices"
	"strings"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// A Unit is what belongs together in a part: registers that act on each other, the inputs
// that they follow and the outputs that show them.
type Unit struct {
	Inputs   part.Pins
	Outputs  []logic.Output // ascending by pin
	Remember bool           // registers are among it
}

// A Chip is a part taken apart.
type Chip struct {
	Circuit *logic.Circuit
	Units   []Unit // by their lowest output

	kinds [part.MaxPins + 1]kind // of the inputs
	ties  []Tie
	fixed []logic.Value // of each node: its level, whatever the inputs that are not held; else X or Z
}

// A kind is what an input does; inputs are paired with those of their kind.
type kind uint8

const (
	gates  kind = iota // it steers: a J, an enable, a clear that waits for the clock
	clocks             // registers' clocks depend on it
	acts               // it acts without a clock: set, clear, the enable of a latch
	loads              // it is taken over by one bit of several
)

// Of takes a part with some inputs tied apart. What the ties leave without effect is no
// input of a unit.
func Of(c *logic.Circuit, ties ...Tie) *Chip {
	chip := &Chip{Circuit: c, ties: ties, fixed: make([]logic.Value, len(c.Nodes))}
	m := c.NewMachine()
	for _, p := range c.Variant.Pins {
		if p.Tied != part.NotTied {
			m.Set(p.Number, logic.Splat(logic.FromBool(p.Tied == part.TiedHigh)))
		}
	}
	held := heldPins(c.Variant)
	for _, t := range ties {
		if held = held.With(t.Pin, true); t.To == 0 {
			m.Set(t.Pin, logic.Splat(logic.FromBool(t.High)))
		}
	}
	m.Settle()
	for n := range c.Nodes {
		chip.fixed[n] = m.Node(int32(n)).Lane(0)
	}
	chip.group(held)
	return chip
}

// group makes units of the outputs and the state, without the inputs that are held.
func (chip *Chip) group(held part.Pins) {
	c, g := chip.Circuit, chip.groups()
	units := map[int]*Unit{} // by root
	var order []int
	for i, o := range c.Outputs {
		root := g.root(len(c.State) + i)
		if units[root] == nil {
			units[root] = &Unit{}
			order = append(order, root)
		}
		units[root].Outputs = append(units[root].Outputs, o)
		units[root].Inputs |= chip.support(o.Node)
	}
	for i := range c.State {
		if u := units[g.root(i)]; u != nil {
			u.Remember = true
			u.Inputs |= chip.support(g.follows[i]...)
		}
	}
	for _, root := range order {
		u := *units[root]
		u.Inputs = chip.joined(u.Inputs) &^ held
		i := slices.IndexFunc(chip.Units, func(o Unit) bool { return o.Inputs == u.Inputs })
		if i >= 0 { // Q and /Q, each with a register of its own
			o := &chip.Units[i]
			o.Outputs, o.Remember = append(o.Outputs, u.Outputs...), o.Remember || u.Remember
			slices.SortFunc(o.Outputs, func(a, b logic.Output) int { return cmp.Compare(a.Pin, b.Pin) })
			continue
		}
		chip.Units = append(chip.Units, u)
	}
	chip.sortInputs(g)
}

// joined adds to inputs those that they are joined to.
func (chip *Chip) joined(pins part.Pins) part.Pins {
	for _, t := range chip.ties {
		if t.To != 0 && pins.Has(t.Pin) {
			pins = pins.With(t.To, true)
		}
	}
	return pins
}

// cone marks the nodes that some depend on without passing through a register, where
// they have not one level whatever comes.
func (chip *Chip) cone(nodes ...int32) []bool {
	cone := make([]bool, len(chip.fixed))
	for rest := slices.Clone(nodes); len(rest) > 0; {
		n := rest[len(rest)-1]
		rest = rest[:len(rest)-1]
		if n >= 0 && !cone[n] && !chip.constant(n) {
			cone[n] = true
			rest = append(rest, chip.Circuit.Nodes[n].In...)
		}
	}
	return cone
}

func (chip *Chip) constant(n int32) bool {
	return chip.fixed[n] == logic.Zero || chip.fixed[n] == logic.One
}

// dead reports whether a rule never applies with the inputs held as they are.
func (chip *Chip) dead(r logic.Rule) bool {
	return r.When >= 0 && chip.fixed[r.When] == logic.Zero || r.Edge != part.Level && chip.constant(r.Clock)
}

func (chip *Chip) support(nodes ...int32) (pins part.Pins) {
	cone := chip.cone(nodes...)
	for pin, n := range chip.Circuit.Inputs {
		pins = pins.With(pin, cone[n])
	}
	return pins
}

// heldPins are those that the definition holds at a level.
func heldPins(v *part.Variant) (pins part.Pins) {
	for _, p := range v.Pins {
		pins = pins.With(p.Number, p.Tied != part.NotTied)
	}
	return pins
}

// groups joins state bits and outputs, numbered in this order, that depend on each other.
type groups struct {
	parent  []int
	follows [][]int32 // by state bit, the nodes that its next level depends on
}

func (g *groups) root(i int) int {
	for g.parent[i] != i {
		i = g.parent[i]
	}
	return i
}

func (chip *Chip) groups() *groups {
	c := chip.Circuit
	g := &groups{parent: make([]int, len(c.State)+len(c.Outputs)), follows: make([][]int32, len(c.State))}
	for i := range g.parent {
		g.parent[i] = i
	}
	for _, r := range c.Registers {
		for i, bit := range r.Bits {
			for _, rule := range r.Rules {
				if chip.dead(rule) {
					continue
				}
				g.follows[bit] = append(g.follows[bit], rule.When, rule.Next[i])
				if rule.Edge != part.Level {
					g.follows[bit] = append(g.follows[bit], rule.Clock)
				}
			}
		}
	}
	join := func(i int, nodes ...int32) {
		cone := chip.cone(nodes...)
		for bit, s := range c.State {
			if cone[s.Node] {
				g.parent[g.root(i)] = g.root(bit)
			}
		}
	}
	for bit, nodes := range g.follows {
		join(bit, nodes...)
	}
	for i, o := range c.Outputs {
		join(len(c.State)+i, o.Node)
	}
	return g
}

// sortInputs says of each input what it does.
func (chip *Chip) sortInputs(g *groups) {
	c := chip.Circuit
	var clocked, act part.Pins
	for _, r := range c.Registers {
		for _, rule := range r.Rules {
			switch {
			case chip.dead(rule):
			case rule.Edge == part.Level:
				act |= chip.joined(chip.support(rule.When))
			default:
				clocked |= chip.joined(chip.support(rule.Clock))
			}
		}
	}
	size := map[int]int{} // state bits of a group
	for bit := range c.State {
		size[g.root(bit)]++
	}
	reaches, of := map[int]int{}, map[int]int{} // state bits that an input reaches, and how many their group has
	for bit := range c.State {
		for pin := range chip.joined(chip.support(g.follows[bit]...)).All() {
			reaches[pin]++
			of[pin] = size[g.root(bit)]
		}
	}
	for _, pin := range c.InputPins {
		switch {
		case clocked.Has(pin):
			chip.kinds[pin] = clocks
		case act.Has(pin):
			chip.kinds[pin] = acts
		case reaches[pin] == 1 && of[pin] > 2:
			chip.kinds[pin] = loads
		}
	}
}

// usable reports whether a unit has nothing but plain inputs and outputs.
func (chip *Chip) usable(u Unit) bool {
	v := chip.Circuit.Variant
	for pin := range u.Inputs.All() {
		if p := v.Pins[pin-1]; p.Role != part.Input || p.Untested != "" {
			return false
		}
	}
	return u.Inputs != 0 && !slices.ContainsFunc(u.Outputs, func(o logic.Output) bool {
		p := v.Pins[o.Pin-1]
		return p.Role != part.Output || p.Untested != ""
	})
}

// inputs are those of a unit of one kind, by name.
func (chip *Chip) inputs(u Unit, k kind) (pins []int) {
	for pin := range u.Inputs.All() {
		if chip.kinds[pin] == k {
			pins = append(pins, pin)
		}
	}
	return byName(chip.Circuit.Variant, pins)
}

// byName sorts pins by their names without bars.
func byName(v *part.Variant, pins []int) []int {
	slices.SortStableFunc(pins, func(a, b int) int {
		return strings.Compare(bare(v.Pins[a-1].Name), bare(v.Pins[b-1].Name))
	})
	return pins
}

// Alike reports whether another chip's unit may be the same by the numbers of its pins of
// each kind and by its edges; complements that it has more do not matter.
func (chip *Chip) Alike(i int, o *Chip, j int) bool {
	u, w := chip.Units[i], o.Units[j]
	more := 0
	for _, p := range w.Outputs {
		if o.inverse(w, p) {
			more++
		}
	}
	if n := len(w.Outputs) - len(u.Outputs); n < 0 || n > more || u.Remember != w.Remember || chip.edges() != o.edges() {
		return false
	}
	for _, k := range []kind{gates, clocks, acts, loads} {
		if len(chip.inputs(u, k)) != len(o.inputs(w, k)) {
			return false
		}
	}
	return true
}

// edges are those at which registers act.
func (chip *Chip) edges() (edges [4]bool) {
	for _, r := range chip.Circuit.Registers {
		for _, rule := range r.Rules {
			if !chip.dead(rule) {
				edges[rule.Edge] = true
			}
		}
	}
	return edges
}

// bare is a pin's name without the bar.
func bare(name string) string { return strings.TrimPrefix(name, "/") }

// inverse reports whether a unit has the output without the bar as well.
func (chip *Chip) inverse(u Unit, o logic.Output) bool {
	v := chip.Circuit.Variant
	name, barred := strings.CutPrefix(v.Pins[o.Pin-1].Name, "/")
	return barred && slices.ContainsFunc(u.Outputs, func(other logic.Output) bool { return v.Pins[other.Pin-1].Name == name })
}
