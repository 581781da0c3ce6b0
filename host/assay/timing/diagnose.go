package timing

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"chipassay/host/adapter"
	"chipassay/host/quantity"
	"chipassay/vectors/part"
)

// An outcome is what a transition gave.
type outcome struct {
	transition
	pulse bool
	edges int
	words string // of the check
}

// oneCause replaces all that is wrong with the triggers of a section by the one thing that explains it, and
// reports whether there is one; fired tells that some trigger gave a pulse.
func (b *bench) oneCause(tried []outcome, fired bool) bool {
	if words, pins := b.restless(tried); words != "" {
		b.r.Wrong, b.r.PinsWrong = []string{words}, pins
		return true
	}
	if !fired {
		return false
	}
	pins := part.Pins(0)
	var stuck []string
	for _, pin := range b.pins {
		for _, high := range []bool{false, true} {
			if b.explainedBy(tried, pin, high) {
				word := "stuck low"
				if high {
					word = "stuck high, or open inside"
				}
				pins, stuck = pins.With(pin, true), append(stuck, b.name(pin)+" is "+word)
			}
		}
	}
	if len(stuck) == 0 {
		return false
	}
	at := slices.IndexFunc(tried, func(o outcome) bool { return o.pulse != o.fires })
	saw := "gave no pulse"
	if tried[at].pulse {
		saw = "gave a pulse"
	}
	b.r.Wrong, b.r.PinsWrong = []string{fmt.Sprintf("%s: %s %s", strings.Join(stuck, ", or "), tried[at].words, saw)}, pins
	return true
}

// explainedBy reports whether an input that the chip takes as always high, or low, explains what every transition gave.
func (b *bench) explainedBy(tried []outcome, pin int, high bool) bool {
	explains := false
	for _, o := range tried {
		t := transition{from: o.from.With(pin, high), to: o.to.With(pin, high), pin: o.pin}
		fires := t.from != t.to && matches(b.x.Triggers, t)
		if t.from != t.to && matches(b.x.Maybes, t) {
			continue
		}
		if fires != o.pulse {
			return false
		}
		explains = explains || fires != o.fires
	}
	return explains
}

// restless says of a section that oscillates whatever is done that it does, and which inputs should hold it.
func (b *bench) restless(tried []outcome) (words string, pins part.Pins) {
	if b.x.ByLevel || slices.ContainsFunc(tried, func(o outcome) bool { return o.edges < mostEdges && !b.cleared(o.to) }) {
		return "", 0
	}
	pins = part.PinSet(b.x.Output)
	words = b.name(b.x.Output) + ": it oscillates, and should be at rest but for a pulse"
	var held []string
	for pin := range b.x.Held.All() {
		held, pins = append(held, b.name(pin)), pins.With(pin, true)
	}
	if len(held) > 0 {
		words += ": " + strings.Join(held, " or ") + " is stuck, or open inside"
	}
	return words, pins
}

// matches reports whether a transition is in a list.
func matches(list []part.Trigger, t transition) bool {
	return slices.ContainsFunc(list, func(g part.Trigger) bool { return g.Pin == t.pin && g.Rise == t.to.Has(t.pin) && g.When.Holds(t.to) })
}

// promptWithin, s, is how soon after an action a good output follows: the data sheets' maxima are under 0.2 µs, of the 4000 series
// and 74C at 5 V under 2.1 µs (host/assay/function, delay.go, which names them), and an action's time is known to 1 µs.
func promptWithin(f *part.Family) float64 {
	if f.Series4000() || f.Name == "74C" || f.Name == "TIMER" {
		return 4e-6
	}
	return 2e-6
}

// spread, s, is how far what an action changes may be from its time with an older firmware.
const spread = 10e-6

// lateness is how long after an action an edge came, and whether that is too long for a good chip.
func (b *bench) lateness(w adapter.Watched, e adapter.Edge, acted time.Duration) (after Time, late bool) {
	most := (e.At - acted).Seconds()
	least := max(0, most-e.Gap.Seconds())
	allowed := promptWithin(b.t.Family)
	if w.Within == 0 {
		allowed = spread
	}
	return Time{(most + least) / 2, (most - least) / 2}, least > allowed
}

// begins says that a pulse begins too late, once of each output.
func (b *bench) begins(w adapter.Watched, e adapter.Edge, acted time.Duration, pin int) {
	after, late := b.lateness(w, e, acted)
	if !late || b.late.Has(pin) {
		return
	}
	b.late = b.late.With(pin, true)
	b.fails(part.PinSet(pin), "%s: the pulse begins %s after the trigger, and should at once", b.name(pin), quantity.Seconds(after.Seconds))
}
