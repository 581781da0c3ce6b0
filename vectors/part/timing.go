package part

import (
	"math"
	"slices"
)

// A Timing is what a capacitor and a resistor outside the chip time: a pulse after a trigger, or
// an oscillation while a condition holds.
type Timing struct {
	Name string // of the section: "1", "monostable"; empty where there is only one
	// Positive and Negative are the pins that the capacitor is clipped to, an electrolytic with its
	// plus at Positive. Negative may be the ground pin.
	Positive, Negative int
	// Resistor are the pins that the resistor is clipped to; without any it goes from Supplied to the supply.
	Resistor [2]int
	Supplied int
	// Wires are pins that are joined outside.
	Wires [][2]int
	// Output is the pin of the pulse, Complement that of its complement, or 0; Low tells that the
	// pulse at Output is a low one.
	Output, Complement int
	Triggers           []Trigger // of a monostable
	Maybes             []Trigger // what may start a pulse or not: not judged
	// Held are inputs that stand at a level while this timing is tested, HeldHigh those that are high.
	// Those of Open are left open.
	Held, HeldHigh, Open Pins
	// ByLevel: the pulse lasts at least as long as its trigger, which is taken back before its end.
	ByLevel       bool
	Clear         Condition // which ends the pulse; nil where nothing does
	Clears        bool
	Retriggerable bool
	// Retrigger is an input without whose rise a trigger during the pulse does not prolong it; 0 for none.
	Retrigger  int
	Runs       Condition // of an oscillator
	Oscillates bool
	// Undivided is an output whose frequency Divisor times that of Output is; 0 for none.
	Undivided, Divisor int
	// Faster is an input with which high an oscillator is faster than with it low, at which it may stand; 0 for none.
	Faster   int
	formulas []Formula
	below    []below
	Line     int
}

// A Trigger starts a pulse: an edge of a pin while a condition of the others holds.
type Trigger struct {
	Pin  int
	Rise bool
	When Condition
	Text string // as written
}

// A Condition is a condition of inputs. Nil always holds.
type Condition func(high Pins) bool

// Holds tells whether the condition holds at some levels.
func (c Condition) Holds(high Pins) bool { return c == nil || c(high) }

// A Formula is what a data sheet gives for a pulse or a period: a factor, or a range of them
// where makers differ, times R times C times 1 + offset / R.
type Formula struct {
	Least, Most float64 // the factor
	Offset      float64 // Ω
	Within      float64 // of the whole, as a part: the tolerance of the chip itself
	Duty        [2]float64
	Source      string
	families    []*Family
}

// Range gives the least and the greatest time for an R, Ω, and a C, F, that are known exactly, s.
func (f Formula) Range(ohms, farads float64) (least, most float64) {
	rc := (ohms + f.Offset) * farads
	return f.Least * (1 - f.Within) * rc, f.Most * (1 + f.Within) * rc
}

// Typical is the middle of the range, geometrically, s.
func (f Formula) Typical(ohms, farads float64) float64 {
	return math.Sqrt(f.Least*f.Most) * (ohms + f.Offset) * farads
}

type below struct {
	why      string
	families []*Family
}

// Limits on the capacitor, F.
const (
	LeastFarads      = 10e-9  // data sheets' formulas hold from 1 or 10 nF on
	MostFarads       = 4.7e-6 // some 50 ms with 10 kΩ, of which a watch is ten
	MostBelowGround  = 1e-9   // into the MCU's clamp; see BelowGround
	LeastBelowGround = 220e-12
)

// In are the formulas in a family, one for each maker's data sheet: those that name the family, else those that
// name none.
func (t *Timing) In(f *Family) (named []Formula) {
	var others []Formula
	for _, x := range t.formulas {
		switch {
		case slices.Contains(x.families, f):
			named = append(named, x)
		case x.families == nil:
			others = append(others, x)
		}
	}
	if named == nil {
		return others
	}
	return named
}

// BelowGround says why a timing node of a family swings beyond the supplies, where it does: into
// the clamp of what it is clipped to. Then the capacitor is at most 1 nF, and the time is not judged.
func (t *Timing) BelowGround(f *Family) (why string) {
	for _, b := range t.below {
		if b.families == nil || slices.Contains(b.families, f) {
			return b.why
		}
	}
	return ""
}

// Outputs are the pins at which it is seen.
func (t *Timing) Outputs() (pins []int) {
	for _, pin := range []int{t.Output, t.Complement, t.Undivided} {
		if pin != 0 {
			pins = append(pins, pin)
		}
	}
	return pins
}

// Inputs are the pins that trigger, clear or gate, but for those that are held.
func (t *Timing) Inputs(v *Variant) (pins []int) {
	for _, p := range v.Pins {
		if p.Role != Input || t.Held.Has(p.Number) {
			continue
		}
		if p.Number == t.Faster {
			pins = append(pins, p.Number)
			continue
		}
		matters := func(c Condition) bool {
			if c == nil {
				return false
			}
			for try := range timingTries {
				if levels := spread(try); c(levels) != c(levels^PinSet(p.Number)) {
					return true
				}
			}
			return false
		}
		uses := matters(t.Clear) || matters(t.Runs) ||
			slices.ContainsFunc(slices.Concat(t.Triggers, t.Maybes), func(x Trigger) bool { return x.Pin == p.Number || matters(x.When) })
		if uses {
			pins = append(pins, p.Number)
		}
	}
	return pins
}

// timingTries is how many settings of all pins show which pins a condition uses.
const timingTries = 256

// spread is a setting of all pins that mixes their levels.
func spread(n int) Pins { return Pins(uint64(n+1) * 0x9E3779B97F4A7C15 >> 17) }
