package stimulus

import (
	"slices"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// Rules say which changes of the inputs a step may make.
type Rules struct {
	c         *logic.Circuit
	sensitive part.Pins // clocks, sets, clears, enables of latches: one a step, alone
	data      part.Pins // all others: any number a step
	stable    []stable
	pulses    []pulse
	probe     *logic.Machine // answers whether a combination is forbidden
}

// A pulse is a clock of pulse-triggered flip-flops with the pins that must stay while it is high.
type pulse struct {
	clock part.Pins
	hold  part.Pins
}

// stable are pins that must stay while a node is 1, with the statement that says so.
type stable struct {
	logic.Stable
	rule *part.Stable
}

// RulesOf works out the rules for a circuit that hold in any of its families: the vectors of
// a part serve all of them.
func RulesOf(c *logic.Circuit) *Rules { return RulesIn(c, nil) }

// RulesIn works out the rules for a circuit that hold in a family, in any where that is nil.
func RulesIn(c *logic.Circuit, f *part.Family) *Rules {
	r := &Rules{c: c, sensitive: c.Clocks() | c.Asynchronous(), probe: c.NewMachine()}
	for _, p := range c.Variant.Pins {
		if c.Inputs[p.Number] == 0 && !isInput(c, p.Number) || p.Tied != part.NotTied || p.Untested != "" {
			r.sensitive = r.sensitive.With(p.Number, false)
			continue
		}
		if !r.sensitive.Has(p.Number) {
			r.data = r.data.With(p.Number, true)
		}
	}
	for _, reg := range c.Registers {
		r.addPulses(reg)
	}
	for i, s := range c.Stable {
		if rule := &c.Variant.Logic.Stable[i]; f == nil || rule.In(f) {
			r.stable = append(r.stable, stable{s, rule})
		}
	}
	return r
}

func isInput(c *logic.Circuit, pin int) bool {
	_, ok := c.Inputs[pin]
	return ok
}

func (r *Rules) addPulses(reg logic.Register) {
	for _, rule := range reg.Rules {
		if rule.Edge != part.Pulse {
			continue
		}
		p := pulse{clock: r.c.Support(rule.Clock)}
		for _, other := range reg.Rules {
			p.hold |= r.c.Support(append([]int32{other.When}, other.Next...)...)
		}
		p.hold &^= p.clock
		r.pulses = append(r.pulses, p)
	}
}

// Allows reports whether a step may take the driven levels from one to another.
func (r *Rules) Allows(from, to part.Pins) bool {
	changed := (from ^ to) & (r.sensitive | r.data)
	if sensitive := changed & r.sensitive; sensitive != 0 && changed.Len() > 1 && !r.joined(from, to) {
		return false
	}
	for _, p := range r.pulses {
		// the clock is high before or after the step: its flip-flops' inputs stay
		if changed&p.hold != 0 && (from|to)&p.clock != 0 {
			return false
		}
	}
	for _, s := range r.stable {
		if changed&s.Pins != 0 && (r.holds(s.While, from) || r.holds(s.While, to)) {
			return false
		}
	}
	return !r.forbidden(to)
}

// Pulsing reports whether a clock of pulse-triggered flip-flops is high at some levels.
func (r *Rules) Pulsing(levels part.Pins) bool {
	return slices.ContainsFunc(r.pulses, func(p pulse) bool { return levels&p.clock != 0 })
}

// joined reports whether just the pins change that the data sheet joins in the levels
// at hand.
func (r *Rules) joined(from, to part.Pins) bool {
	return slices.ContainsFunc(r.c.Together, func(t logic.Stable) bool { return from^to == t.Pins && r.holds(t.While, from) })
}

// Move gives the pins that change where some are to: with those joined to them, if
// they may not change alone.
func (r *Rules) Move(from, pins part.Pins) part.Pins {
	if len(r.c.Together) == 0 || r.Allows(from, from^pins) {
		return pins
	}
	for _, t := range r.c.Together {
		if pins&t.Pins != 0 && r.Allows(from, from^t.Pins) {
			return t.Pins
		}
	}
	return pins
}

// holds reports whether a node that depends on the inputs alone is 1 at some levels.
func (r *Rules) holds(node int32, levels part.Pins) bool {
	for _, pin := range r.c.InputPins {
		r.probe.Set(pin, logic.Splat(logic.FromBool(levels.Has(pin))))
	}
	r.probe.Evaluate()
	return r.probe.Node(node).Lane(0) == logic.One
}

// forbidden reports whether the data sheet forbids a combination of levels.
func (r *Rules) forbidden(levels part.Pins) bool {
	return len(r.c.Never) > 0 && r.forbiddenBy(levels) >= 0
}

// legalStart gives levels that a first step may apply: those given, with as few
// of the inputs made high as what the data sheet forbids asks for.
func (r *Rules) legalStart(levels part.Pins) part.Pins {
	free := slices.Collect((r.sensitive | r.data).All())
	tried := []part.Pins{levels}
	for range free {
		var more []part.Pins
		for _, from := range tried {
			if !r.forbidden(from) {
				return from
			}
			for _, pin := range free {
				if to := from.With(pin, true); to != from && len(more) < 4096 && !slices.Contains(more, to) {
					more = append(more, to)
				}
			}
		}
		tried = more
	}
	return levels
}
