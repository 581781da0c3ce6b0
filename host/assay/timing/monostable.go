package timing

import (
	"fmt"
	"math"
	"slices"
	"time"

	"chipassay/host/quantity"
	"chipassay/vectors/part"
)

// margin is how much longer than it may last a pulse is waited for: so long that one that is three
// times too long is seen whole.
const margin = 4

// most edges that are noted of one trigger: more are no pulse.
const mostEdges = 8

// retryBelow, s: pulses shorter than that may fall into a gap of the adapter's looks, and are
// looked for again.
const retryBelow, retries = 20e-6, 3

// leastShare of the formula's time is less than any capacitor gives whose node is clamped.
const leastShare = 0.1

// actable, s, is the least pulse within which the adapter can act twice at known times.
const actable = 150e-6

// A transition is one change of one input of a section.
type transition struct {
	from, to part.Pins
	pin      int
	fires    bool
}

// transitions are all of them whose outcome the definition states.
func (b *bench) transitions() (all []transition) {
	x := b.x
	matches := func(list []part.Trigger, t transition) bool {
		for _, g := range list {
			if g.Pin == t.pin && g.Rise == t.to.Has(t.pin) && g.When.Holds(t.to) {
				return true
			}
		}
		return false
	}
	for n := range 1 << len(b.pins) {
		from := b.levels(n)
		if x.ByLevel && b.triggering(from) {
			continue
		}
		for i, pin := range b.pins {
			t := transition{from: from, to: b.levels(n ^ 1<<i), pin: pin}
			if matches(x.Maybes, t) {
				continue
			}
			t.fires = matches(x.Triggers, t)
			all = append(all, t)
		}
	}
	return all
}

// triggering reports whether a part that triggers by a level is at it.
func (b *bench) triggering(high part.Pins) bool {
	for _, g := range b.x.Triggers {
		if high.Has(g.Pin) == g.Rise && g.When.Holds(high) {
			return true
		}
	}
	return false
}

// monostable tries every trigger, retriggering, clearing and the complement.
func (b *bench) monostable() error {
	fired, tried := 0, 0
	var first *transition
	for _, t := range b.transitions() {
		pulse, err := b.try(t)
		if err != nil {
			return err
		}
		if t.fires {
			tried++
			if pulse != nil {
				fired++
				// the one that the rest is tried with: better not by the release of the clear
				if first == nil || b.cleared(first.from) && !b.cleared(t.from) {
					first, b.r.Pulse = &t, pulse
				}
			}
		}
	}
	spurious := slices.ContainsFunc(b.r.Checks, func(c Check) bool { return !c.Right && c.Wants == "no pulse" })
	if fired == 0 && tried > 0 {
		if b.r.NoPulses = !spurious; b.r.NoPulses {
			b.r.Wrong = nil // one thing, not one for each trigger
		}
		return nil
	}
	if first == nil {
		return nil
	}
	for _, also := range []func(transition) error{b.complement, b.retrigger, b.clear} {
		if err := also(*first); err != nil {
			return err
		}
	}
	return nil
}

// cleared reports whether the clear holds at some levels.
func (b *bench) cleared(high part.Pins) bool { return b.x.Clears && b.x.Clear.Holds(high) }

// rest is how long a section is left alone before a trigger, s.
func (b *bench) rest() time.Duration { return dur(1.5*margin*b.most + 50e-6) }

// try makes one transition and looks for a pulse.
func (b *bench) try(t transition) (*Time, error) {
	check := Check{What: b.describe(t.from, t.to), Wants: "no pulse"}
	if t.fires {
		check.Wants = "a pulse"
	}
	pin, before := b.x.Output, b.rest()
	for attempt := 1; ; attempt++ {
		actions := []adapterAction{b.act(0, t.from), b.act(before, t.to)}
		if b.x.ByLevel && t.fires {
			actions = append(actions, b.act(before+dur(0.3*b.most), t.from))
		}
		w, err := b.watch(pin, before+dur(margin*b.most+50e-6), mostEdges, actions...)
		if err != nil {
			return nil, err
		}
		edges := after(w, w.Acted[1])
		if t.fires && len(edges) == 0 && b.most < retryBelow && attempt < retries {
			continue
		}
		var pulse *Time
		switch {
		case len(edges) == 0 && !w.End:
			check.Saw = "no pulse"
		case len(edges) == 2 && edges[0].High:
			p := width(edges[0], edges[1])
			pulse, check.Pulse = &p, &p
			check.Saw = "a pulse of " + p.String()
			if !b.judged && p.Seconds+p.Uncertainty < leastShare*b.formula.Typical(b.r.Ohms, b.r.Farads) {
				pulse = nil // that of the chip without a capacitor
				check.Saw += ", as without a capacitor"
			}
		case len(edges) == 1 && edges[0].High || len(edges) == 0 && w.End:
			check.Saw = "the output stayed high"
		default:
			check.Saw = fmt.Sprintf("%d edges", len(edges))
		}
		check.Right = t.fires == (pulse != nil) && (t.fires || check.Saw == "no pulse")
		name := b.name(pin)
		switch {
		case !check.Right && t.fires:
			b.fails(part.PinSet(pin, t.pin), "%s: %s gave %s, and should give a pulse", name, check.What, check.Saw)
		case !check.Right:
			b.fails(part.PinSet(pin, t.pin), "%s: %s gave %s, and should give none", name, check.What, check.Saw)
		case pulse != nil && b.judged && !b.within(*pulse):
			check.Right = false
			b.fails(part.PinSet(pin), "%s: pulse %s, the data sheet's formula gives %s to %s", name, quantity.Seconds(pulse.Seconds), quantity.Seconds(b.least), quantity.Seconds(b.most))
		}
		b.r.Checks = append(b.r.Checks, check)
		return pulse, nil
	}
}

// within reports whether a time may be in the limits.
func (b *bench) within(t Time) bool {
	return t.Seconds+t.Uncertainty >= b.least && t.Seconds-t.Uncertainty <= b.most
}

// complement watches the other output.
func (b *bench) complement(t transition) error {
	pin := b.x.Complement
	if pin == 0 {
		return nil
	}
	before := b.rest()
	check := Check{What: b.name(pin) + " at the " + b.describe(t.from, t.to), Wants: "a low pulse as long"}
	for attempt := 1; ; attempt++ {
		w, err := b.watch(pin, before+dur(margin*b.most+50e-6), mostEdges, b.act(0, t.from), b.act(before, t.to))
		if err != nil {
			return err
		}
		edges := after(w, w.Acted[1])
		if len(edges) == 2 && !edges[0].High {
			p := width(edges[0], edges[1])
			check.Pulse, check.Saw = &p, "a low pulse of "+p.String()
			check.Right = math.Abs(p.Seconds-b.r.Pulse.Seconds) <= 0.05*b.r.Pulse.Seconds+3e-6+p.Uncertainty+b.r.Pulse.Uncertainty
		} else if check.Saw = fmt.Sprintf("%d edges", len(edges)); len(edges) == 0 && b.most < retryBelow && attempt < retries {
			continue
		}
		if !check.Right {
			b.fails(part.PinSet(pin), "%s: %s gave %s, and should give a low pulse of %s", b.name(pin), b.describe(t.from, t.to), check.Saw, quantity.Seconds(b.r.Pulse.Seconds))
		}
		b.r.Checks = append(b.r.Checks, check)
		return nil
	}
}

// retrigger triggers again at 0.6 of the pulse.
func (b *bench) retrigger(t transition) error {
	pulse := b.r.Pulse.Seconds
	if pulse < actable {
		b.r.NotJudged = append(b.r.NotJudged, "whether a trigger during the pulse prolongs it: the pulse is too short to act in")
		return nil
	}
	if b.x.ByLevel {
		return nil // while it is at its level it triggers all the time
	}
	if b.cleared(t.from) {
		b.r.NotJudged = append(b.r.NotJudged, "whether a trigger during the pulse prolongs it")
		return nil
	}
	before := b.rest()
	w, err := b.watch(b.x.Output, before+dur(margin*b.most+2*pulse), mostEdges, b.act(0, t.from), b.act(before, t.to),
		b.act(before+dur(0.3*pulse), t.from), b.act(before+dur(0.6*pulse), t.to))
	if err != nil {
		return err
	}
	edges := after(w, w.Acted[1])
	want, wants := pulse, "the pulse ends as without"
	if b.x.Retriggerable {
		want, wants = pulse+(w.Acted[3]-w.Acted[1]).Seconds(), "the pulse lasts as long from there"
	}
	check := Check{What: "a second " + b.describe(t.from, t.to) + " at 0.6 of the pulse", Wants: wants, Saw: fmt.Sprintf("%d edges", len(edges))}
	if len(edges) == 2 && edges[0].High {
		p := width(edges[0], edges[1])
		check.Pulse, check.Saw = &p, "a pulse of "+p.String()
		check.Right = math.Abs(p.Seconds-want) <= 0.2*pulse
	}
	if !check.Right {
		b.fails(part.PinSet(b.x.Output), "%s: %s gave %s, and should give one of %s", b.name(b.x.Output), check.What, check.Saw, quantity.Seconds(want))
	}
	b.r.Checks = append(b.r.Checks, check)
	return nil
}

// clear ends a pulse at 0.4 of it.
func (b *bench) clear(t transition) error {
	if !b.x.Clears {
		return nil
	}
	pulse := b.r.Pulse.Seconds
	if pulse < actable {
		b.r.NotJudged = append(b.r.NotJudged, "whether the clear ends a pulse: it is too short to act in")
		return nil
	}
	for _, pin := range b.pins {
		cleared := t.to ^ part.PinSet(pin)
		if !b.x.Clear.Holds(cleared) {
			continue
		}
		before := b.rest()
		trigger := t.to
		actions := []adapterAction{b.act(0, t.from), b.act(before, trigger)}
		if b.x.ByLevel {
			actions = append(actions, b.act(before+dur(0.1*pulse), t.from))
			cleared = t.from ^ part.PinSet(pin)
		}
		actions = append(actions, b.act(before+dur(0.4*pulse), cleared))
		w, err := b.watch(b.x.Output, before+dur(margin*b.most), mostEdges, actions...)
		if err != nil {
			return err
		}
		edges, at := after(w, w.Acted[1]), w.Acted[len(actions)-1]
		check := Check{What: b.describe(t.to, cleared) + " at 0.4 of the pulse", Wants: "the pulse ends at once", Saw: fmt.Sprintf("%d edges", len(edges))}
		if b.x.ByLevel {
			check.What = b.describe(t.from, cleared) + " at 0.4 of the pulse"
		}
		if len(edges) == 2 && edges[0].High {
			p := width(edges[0], edges[1])
			late := (edges[1].At - at).Seconds()
			check.Pulse, check.Saw = &p, "it ended after "+quantity.Seconds(max(late, 0))
			check.Right = late >= -5e-6 && late <= 10e-6+edges[1].Gap.Seconds()
		}
		if !check.Right {
			b.fails(part.PinSet(b.x.Output, pin), "%s: %s did not end the pulse: %s", b.name(b.x.Output), check.What, check.Saw)
		}
		b.r.Checks = append(b.r.Checks, check)
	}
	return nil
}
