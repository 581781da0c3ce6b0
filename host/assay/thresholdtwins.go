package assay

import (
	"fmt"
	"slices"

	"chipassay/host/assay/thresholds"
	"chipassay/vectors/part"
)

// findTwins finds, where every measured Schmitt-trigger input has lost its hysteresis, or every ordinary one has that of a Schmitt
// trigger, the parts that answer every vector as well and have such inputs: a 7404 for a 7414, and the other way round.
func (r *Result) findTwins(p Plan) {
	schmitt := r.Thresholds[0].Schmitt
	if slices.ContainsFunc(r.Thresholds, func(in thresholds.Input) bool { return in.Schmitt != schmitt || schmitt && !in.Lost(r.Type.Family) }) {
		return
	}
	if !schmitt && slices.ContainsFunc(r.Thresholds, func(in thresholds.Input) bool { return in.Hysteresis().Volts < leastSchmitt }) {
		return // as of most chips: the library is not asked
	}
	for _, c := range r.parts(p) {
		v := c.Variant
		number := v.Part.Number
		if !slices.Contains(p.Coverage.Intruders, number) || slices.Contains(r.twins, number) || isSchmitt(v, r.Thresholds[0].Pin) == schmitt {
			continue
		}
		for _, f := range v.Families {
			t := part.Type{Variant: v, Family: f}
			if f.Technology.Bipolar() == r.Type.Family.Technology.Bipolar() && f.Series4000() == r.Type.Family.Series4000() && r.switchesAsTwin(t, schmitt) {
				r.twins = append(r.twins, number)
				break
			}
		}
	}
	r.twins = byDistance(r.Type, r.twins, r.parts(p))
}

// leastSchmitt, V, is a hysteresis that no ordinary input has: bus drivers of the 74LS family, which have some, have 0.2 to 0.4 V
// (SN74LS240, ON Semiconductor, December 1999, page 3).
const leastSchmitt = 0.25

func isSchmitt(v *part.Variant, pin int) bool { return v.Pins[pin-1].Schmitt }

// switchesAsTwin reports whether every measured input switches as those of another type do.
func (r *Result) switchesAsTwin(t part.Type, schmitt bool) bool {
	return !slices.ContainsFunc(r.Thresholds, func(in thresholds.Input) bool {
		if in.Schmitt = !schmitt; in.Schmitt {
			if l, known := t.Schmitt(in.SupplyVolts); !known || l.Hysteresis < leastSchmitt {
				return true
			}
		}
		return !switchesAs(in, t)
	})
}

// schmittWords say of a part with ordinary inputs that it is one with Schmitt triggers; empty where it is not.
func (r *Result) schmittWords() string {
	if len(r.twins) == 0 || r.Thresholds[0].Schmitt {
		return ""
	}
	worst := slices.MinFunc(r.Thresholds, func(a, b thresholds.Input) int {
		if a.Hysteresis().Volts < b.Hysteresis().Volts {
			return -1
		}
		return 1
	})
	return fmt.Sprintf("%s: its inputs have %.2f V of hysteresis or more, as Schmitt triggers do", anotherWords(r.twins, r.Type), worst.Hysteresis().Volts)
}
