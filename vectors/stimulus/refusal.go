package stimulus

import (
	"fmt"
	"strings"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// Start gives the levels nearest to some that a first step may apply: with as few of
// the inputs made high as what the data sheet forbids asks for.
func (r *Rules) Start(levels part.Pins) part.Pins { return r.legalStart(levels) }

// Sensitive are the clocks, sets, clears and enables of latches: each changes in a step
// of its own.
func (r *Rules) Sensitive() part.Pins { return r.sensitive }

// Refusal says why a step may not take the driven levels from one to another; empty
// where it may.
func (r *Rules) Refusal(from, to part.Pins) string {
	if r.Allows(from, to) {
		return ""
	}
	if b, ok := r.Breach(from, to); ok {
		return b.Why
	}
	return fmt.Sprintf("%s changes in a step of its own", r.c.Variant.Named((from^to)&r.sensitive))
}

// A Breach is a step that the data sheet forbids.
type Breach struct {
	Why   string
	Rule  *part.Stable // the statement that it breaks, if it is one of inputs that stay
	Pulse bool         // an input of pulse-triggered flip-flops changes while their clock is high
	Held  part.Pins    // what should not have changed; none where the levels themselves are forbidden
	While string       // at which levels: "pin 2 (CLK) is low"
}

// Breach gives what the data sheet has against taking the driven levels from one to
// another, however many of them change in the step.
func (r *Rules) Breach(from, to part.Pins) (b Breach, ok bool) {
	v := r.c.Variant
	changed := (from ^ to) & (r.sensitive | r.data)
	for _, p := range r.pulses {
		if held := changed & p.hold; held != 0 && (from|to)&p.clock != 0 {
			return heldBreach(v, held, nil, v.Named(p.clock)+" is high"), true
		}
	}
	for _, s := range r.stable {
		for _, levels := range []part.Pins{from, to} {
			if held := changed & s.Pins; held != 0 && r.holds(s.While, levels) {
				return heldBreach(v, held, s.rule, levelWords(v, r.c.Support(s.While), levels)), true
			}
		}
	}
	if len(r.c.Never) > 0 {
		if i := r.forbiddenBy(to); i >= 0 {
			return Breach{Why: v.Logic.Never[i].Why}, true
		}
	}
	return Breach{}, false
}

func heldBreach(v *part.Variant, held part.Pins, rule *part.Stable, while string) Breach {
	return Breach{fmt.Sprintf("%s must not change while %s", v.Named(held), while), rule, rule == nil, held, while}
}

// levelWords say at which levels some pins are: "pin 2 (CLK) is low".
func levelWords(v *part.Variant, pins, levels part.Pins) string {
	var words []string
	for pin := range pins.All() {
		level := "low"
		if levels.Has(pin) {
			level = "high"
		}
		words = append(words, fmt.Sprintf("%v is %s", &v.Pins[pin-1], level))
	}
	return strings.Join(words, " and ")
}

// forbiddenBy gives which combination that the data sheet forbids some levels are; -1
// where they are none.
func (r *Rules) forbiddenBy(levels part.Pins) int {
	for _, pin := range r.c.InputPins {
		r.probe.Set(pin, logic.Splat(logic.FromBool(levels.Has(pin))))
	}
	r.probe.Evaluate()
	for i, n := range r.c.Never {
		if r.probe.Node(n).Lane(0) == logic.One {
			return i
		}
	}
	return -1
}
