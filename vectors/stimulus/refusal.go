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
	v := r.c.Variant
	changed := (from ^ to) & (r.sensitive | r.data)
	for _, p := range r.pulses {
		if held := changed & p.hold; held != 0 && (from|to)&p.clock != 0 {
			return fmt.Sprintf("%s must not change while %s is high", v.Named(held), v.Named(p.clock))
		}
	}
	for _, s := range r.c.Stable {
		for _, levels := range []part.Pins{from, to} {
			if held := changed & s.Pins; held != 0 && r.holds(s.While, levels) {
				return fmt.Sprintf("%s must not change while %s", v.Named(held), levelWords(v, r.c.Support(s.While), levels))
			}
		}
	}
	if i := r.forbiddenBy(to); i >= 0 {
		return v.Logic.Never[i].Why
	}
	return fmt.Sprintf("%s changes in a step of its own", v.Named(changed&r.sensitive))
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
	r.probe.Settle()
	for i, n := range r.c.Never {
		if r.probe.Node(n).Lane(0) == logic.One {
			return i
		}
	}
	return -1
}
