package twin

import (
	"math/rand/v2"
	"slices"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// Answers reports whether a circuit that is used as a fit says gives, from any state at
// power-up, every level that the whole test expects at the outputs that it gives.
func (t *Test) Answers(c *logic.Circuit, f Fit) bool {
	nodes := map[int]int32{}
	for _, o := range c.Outputs {
		nodes[o.Pin] = o.Node
	}
	m := c.NewMachine()
	heldAt(m, c.Variant)
	m.PowerUp(1)
	for _, st := range t.sequence.Steps {
		for pin, takes := range f.Takes {
			m.Set(pin, logic.Splat(logic.FromBool(takes == High || takes > 0 && st.Drive.Has(takes))))
		}
		m.Settle()
		for pin := range st.Compared.All() {
			to, ok := f.Gives[pin]
			if !ok {
				continue
			}
			want, _ := st.Expect(pin)
			if Agree(m.Node(nodes[to]), want, t.Circuit.Variant.Pins[pin-1].Stage) != ^uint64(0) {
				return false
			}
		}
	}
	return true
}

// walkSteps is how many changes of inputs a walk makes.
const walkSteps = 600

// Walk changes the tested part's inputs at random, one a step as its data sheet allows,
// and reports whether a circuit that is used as a fit says shows the same levels, from any
// state at power-up, wherever the part's are known. Steps that the circuit's own data
// sheet forbids are left out and given, each reason once. The walk is the same each time.
func (t *Test) Walk(c *logic.Circuit, f Fit) (breaches []Breach, ok bool) {
	nodes := map[int]int32{}
	for _, o := range c.Outputs {
		nodes[o.Pin] = o.Node
	}
	of, m := t.Circuit.NewMachine(), c.NewMachine()
	heldAt(of, t.Circuit.Variant)
	heldAt(m, c.Variant)
	m.PowerUp(2)
	rules, others := stimulus.RulesIn(t.Circuit, t.Family), stimulus.RulesOf(c)
	var free, tied part.Pins
	for _, u := range t.Units {
		free |= u.Inputs
	}
	for _, p := range t.Circuit.Variant.Pins {
		tied = tied.With(p.Number, p.Tied == part.TiedHigh)
	}
	pins := slices.Collect(free.All())
	random := rand.New(rand.NewPCG(1, 0))
	at, had := rules.Start(tied), part.Pins(0)
	for i := range walkSteps {
		to := at
		if i > 0 {
			to = at ^ part.PinSet(pins[random.IntN(len(pins))])
			if !rules.Allows(at, to) {
				continue
			}
		}
		levels := f.levels(to)
		if b, broken := others.Breach(had, levels); broken && i > 0 {
			breaches = merge(breaches, b)
			continue
		}
		at, had = to, levels
		for pin := range free.All() {
			of.Set(pin, logic.Splat(logic.FromBool(at.Has(pin))))
		}
		for pin := range f.Takes {
			m.Set(pin, logic.Splat(logic.FromBool(had.Has(pin))))
		}
		of.Settle()
		m.Settle()
		for _, o := range t.Circuit.Outputs {
			to, given := f.Gives[o.Pin]
			want := of.Node(o.Node).Lane(0)
			if given && want != logic.X && Agree(m.Node(nodes[to]), want, o.Stage) != ^uint64(0) {
				return breaches, false
			}
		}
	}
	return breaches, true
}

// merge adds a breach to others: pins that must not change at the same levels are one.
func merge(all []Breach, b Breach) []Breach {
	i := slices.IndexFunc(all, func(o Breach) bool {
		return o.Pulse && b.Pulse || sameFamilies(o.Rule, b.Rule) && o.While == b.While && (b.While != "" || o.Why == b.Why)
	})
	if i < 0 {
		return append(all, b)
	}
	all[i].Held |= b.Held
	return all
}

// sameFamilies reports whether two rules hold in the same families.
func sameFamilies(a, b *part.Stable) bool {
	return a == b || a != nil && b != nil && slices.Equal(a.Families, b.Families)
}

// levels gives the inputs of the part that are high where some of the other's are.
func (f Fit) levels(of part.Pins) (high part.Pins) {
	for pin, takes := range f.Takes {
		high = high.With(pin, takes == High || takes > 0 && of.Has(takes))
	}
	return high
}

// heldAt gives the inputs that a definition holds theirs, and all others a low.
func heldAt(m *logic.Machine, v *part.Variant) {
	for _, p := range v.Pins {
		m.Set(p.Number, logic.Splat(logic.FromBool(p.Tied == part.TiedHigh)))
	}
}

// Agree gives the lanes in which a node's level is known and is what is wanted of an output
// of a stage: an open collector counts as the high that its pull-up makes.
func Agree(w logic.Word, want logic.Value, stage part.Stage) uint64 {
	switch {
	case want == logic.One, want == logic.Z && stage == part.OpenCollector:
		return w.Hi &^ w.Lo
	case want == logic.Zero, want == logic.Z && stage == part.OpenEmitter:
		return w.Lo &^ w.Hi
	case want == logic.Z:
		return ^(w.Hi | w.Lo)
	}
	return 0
}
