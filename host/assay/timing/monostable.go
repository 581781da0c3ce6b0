package timing

import (
	"fmt"
	"math"
	"slices"
	"time"

	"chipassay/host/adapter"
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

const (
	// actable, s, is the least pulse within which the adapter can act once, and actableTwice twice: actions are 6 µs apart, and
	// for 100 µs after the last it sees an edge to a µs (firmware/README.md).
	actable, actableTwice = 25e-6, 28e-6
	// soonEnough is the share of a pulse by which an action in it must have come, and lookAgain, s, how long it takes
	// an older firmware to see what came of it. known is the share to which a pulse must be known that an action may have prolonged.
	soonEnough, lookAgain, known = 0.8, 20e-6, 0.15
)

// A transition is one change of one input of a section.
type transition struct {
	from, to part.Pins
	pin      int
	fires    bool
}

// transitions are all of them whose outcome the definition states.
func (b *bench) transitions() (all []transition) {
	x := b.x
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
	var first, silent *transition
	var outcomes []outcome
	for _, t := range b.transitions() {
		pulse, edges, err := b.try(t)
		if err != nil {
			return err
		}
		outcomes = append(outcomes, outcome{t, pulse != nil || !t.fires && edges > 0, edges, b.describe(t.from, t.to)})
		if b.endless { // one thing, and all else follows from it
			b.r.Wrong, b.r.PinsWrong = nil, 0
			b.fails(part.PinSet(b.x.Output), "%s: the %s starts a pulse that has not ended after %s; the data sheet's formula gives %s", b.name(b.x.Output),
				b.describe(t.from, t.to), quantity.Seconds(b.lookedFor().Seconds()), b.r.LimitWords())
			return nil
		}
		if t.fires {
			tried++
			silent = &t
			if pulse != nil {
				fired++
				// the one that the rest is tried with: better not by the release of the clear
				if first == nil || b.cleared(first.from) && !b.cleared(t.from) {
					first, b.r.Pulse = &t, pulse
				}
			}
		}
	}
	if len(b.r.Wrong) > 0 && b.oneCause(outcomes, fired > 0) {
		return nil
	}
	b.sameWidth()
	spurious := slices.ContainsFunc(b.r.Checks, func(c Check) bool { return !c.Right && c.Wants == "no pulse" })
	if fired == 0 && tried > 0 {
		if b.r.NoPulses = !spurious; b.r.NoPulses {
			b.r.Wrong = nil // one thing, not one for each trigger
			return b.otherOutputOf(*silent)
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
func (b *bench) rest() time.Duration { return dur(max(1.5*margin*b.most, b.pause) + 50e-6) }

// lookedFor is how long a pulse is looked for.
func (b *bench) lookedFor() time.Duration { return dur(max(margin*b.most, b.pause) + 50e-6) }

// try makes one transition and looks for a pulse; edges are all that were seen.
func (b *bench) try(t transition) (pulse *Time, seen int, err error) {
	check := Check{What: b.describe(t.from, t.to), Wants: "no pulse"}
	if t.fires {
		check.Wants = "a pulse"
	}
	pin := b.x.Output
	for attempt := 1; ; attempt++ {
		before := b.rest()
		actions := []adapterAction{b.act(0, t.from), b.act(before, t.to)}
		if b.x.ByLevel && t.fires {
			actions = append(actions, b.act(before+dur(0.3*b.least), t.from))
		}
		w, err := b.watch(pin, min(before+b.lookedFor(), b.longest()), mostEdges, actions...)
		if err != nil {
			return nil, 0, err
		}
		edges := after(w, w.Acted[1])
		if t.fires && len(edges) == 0 && b.most < retryBelow && attempt < retries {
			continue
		}
		if t.fires && len(edges) == 1 && edges[0].High && b.pause == 0 {
			// longer than it may be: how long, and the next is waited for so long
			b.pause = min(longer*b.most, 0.4*b.longest().Seconds())
			continue
		}
		if t.fires && len(edges) > 0 && edges[0].High {
			b.begins(w, edges[0], w.Acted[1], pin)
		}
		switch {
		case len(edges) == 0 && !w.End:
			check.Saw = "no pulse"
		case len(edges) == 2 && edges[0].High:
			p := width(edges[0], edges[1])
			pulse, check.Pulse = &p, &p
			check.Saw = "a pulse of " + p.String()
			if !b.judged && p.Seconds+p.Uncertainty < leastShare*b.typical {
				pulse = nil // that of the chip without a capacitor
				check.Saw += ", as without a capacitor"
			}
		case len(edges) == 1 && edges[0].High || len(edges) == 0 && w.End:
			check.Saw = "an output that stays high"
			b.endless = t.fires && b.pause > 0
		default:
			check.Saw = count(len(edges))
		}
		check.Right = t.fires == (pulse != nil) && (t.fires || check.Saw == "no pulse")
		name := b.name(pin)
		switch {
		case !check.Right && t.fires:
			b.fails(part.PinSet(pin, t.pin), "%s: %s gave %s, and should give a pulse", name, check.What, check.Saw)
		case !check.Right:
			b.fails(part.PinSet(pin, t.pin), "%s: %s gave %s, and should give none", name, check.What, check.Saw)
		case pulse != nil && b.judged && b.fit(*pulse):
			check.Right = false
			b.odd = append(b.odd, *pulse)
		}
		b.r.Checks = append(b.r.Checks, check)
		return pulse, len(edges), nil
	}
}

// longer is how much longer than it may last a pulse is waited for that did not end in time.
const longer = 25

// sameWidth says once of all triggers that the pulse is too long or too short, by the shortest and the longest, or that it is
// between what makers' formulas give.
func (b *bench) sameWidth() {
	if b.r.Pulse == nil || !b.judged {
		return
	}
	if len(b.odd) == 0 {
		b.fit(*b.r.Pulse)
		b.betweenMakers(*b.r.Pulse, "the width of the pulse")
		return
	}
	short, long := b.odd[0].Seconds, b.odd[0].Seconds
	for _, t := range b.odd {
		short, long = min(short, t.Seconds), max(long, t.Seconds)
	}
	words := quantity.Seconds(long)
	if long > 1.05*short+2e-6 {
		words = quantity.Seconds(short) + " to " + words
	}
	b.fails(part.PinSet(b.x.Output), "%s: pulse %s, the data sheet's formula gives %s", b.name(b.x.Output), words, b.r.LimitWords())
}

// otherOutputOf looks, where no trigger gives a pulse, whether the complement has one: then the output is stuck.
func (b *bench) otherOutputOf(t transition) error {
	pin := b.x.Complement
	if pin == 0 || b.r.Pulse != nil {
		return nil
	}
	before := b.rest()
	w, err := b.watch(pin, before+b.lookedFor(), mostEdges, b.act(0, t.from), b.act(before, t.to))
	if err != nil {
		return err
	}
	edges := after(w, w.Acted[1])
	if len(edges) == 2 && !edges[0].High && width(edges[0], edges[1]).Seconds > leastShare*b.typical { // shorter: without a capacitor
		b.r.NoPulses = false
		b.fails(part.PinSet(b.x.Output), "%s: no trigger gives a pulse, but %s gives one of %s", b.name(b.x.Output), b.name(pin), quantity.Seconds(width(edges[0], edges[1]).Seconds))
	}
	return nil
}

// alike is by how much of it two pulses of one section, one after the other, may differ (common practice).
const alike = 0.02

// complement watches the other output. Its bias pulls high, where there is any: that the output pulls low itself
// has been seen in no vector.
func (b *bench) complement(t transition) error {
	pin := b.x.Complement
	if pin == 0 {
		return nil
	}
	before := b.rest()
	check := Check{What: b.name(pin) + " at the " + b.describe(t.from, t.to), Wants: "a low pulse as long"}
	for attempt := 1; ; attempt++ {
		from, to := b.act(0, t.from), b.act(before, t.to)
		if b.bias.On {
			from.Bias = adapter.PullUp(b.bias.Up.With(pin, true))
			to.Bias = from.Bias
		}
		w, err := b.watch(pin, before+b.lookedFor(), mostEdges, from, to)
		if err != nil {
			return err
		}
		edges := after(w, w.Acted[1])
		if len(edges) == 2 && !edges[0].High {
			p := width(edges[0], edges[1])
			check.Pulse, check.Saw = &p, "a low pulse of "+p.String()
			b.begins(w, edges[0], w.Acted[1], pin)
			check.Right = math.Abs(p.Seconds-b.r.Pulse.Seconds) <= alike*b.r.Pulse.Seconds+3e-6+p.Uncertainty+b.r.Pulse.Uncertainty
		} else if check.Saw = count(len(edges)); len(edges) == 0 && b.most < retryBelow && attempt < retries {
			continue
		}
		if !check.Right {
			b.fails(part.PinSet(pin), "%s: %s gave %s, and should give a low pulse of %s", b.name(pin), b.describe(t.from, t.to), check.Saw, quantity.Seconds(b.r.Pulse.Seconds))
		}
		b.r.Checks = append(b.r.Checks, check)
		return nil
	}
}

// tooShort says that the adapter cannot act in so short a pulse, and with what it could.
func (b *bench) tooShort(what string, least float64) {
	with := ""
	share := b.r.Pulse.Seconds / (b.r.Ohms * b.r.Farads)
	if b.r.Pulse.Seconds >= least {
		least = 1.5 * b.r.Pulse.Seconds // it was too late for this one
	}
	switch {
	case b.x.BelowGround(b.t.Family) == "":
		with = fmt.Sprintf(": with %s or more it can", quantity.Farads(roundedUp(least/share/b.r.Ohms)))
	case !b.r.ByBias && least/share/b.r.Farads <= MostOhms:
		with = ": with --resistor 100k it can"
	}
	b.r.NotJudged = append(b.r.NotJudged, fmt.Sprintf("%s: the adapter cannot act within a pulse of %s%s", what, quantity.Seconds(b.r.Pulse.Seconds), with))
}

// roundedUp is the next higher of 1, 2.2 and 4.7 times a power of ten.
func roundedUp(x float64) float64 {
	for _, step := range []float64{1, 2.2, 4.7, 10} {
		if decade := math.Pow(10, math.Floor(math.Log10(x))); step*decade >= x*0.999 {
			return step * decade
		}
	}
	return x
}

// retrigger triggers again at 0.6 of the pulse: with the input that allows it low, if there is one, and high.
func (b *bench) retrigger(t transition) error {
	const what = "whether a trigger during the pulse prolongs it"
	switch {
	case b.x.ByLevel:
		return nil // while it is at its level it triggers all the time
	case b.r.Pulse.Seconds < actableTwice:
		b.tooShort(what, actableTwice)
		return nil
	case b.cleared(t.from):
		b.r.NotJudged = append(b.r.NotJudged, what)
		return nil
	case b.x.Retrigger == 0:
		return b.again(t, 0, b.x.Retriggerable)
	}
	if err := b.again(t, 0, false); err != nil {
		return err
	}
	return b.again(t, part.PinSet(b.x.Retrigger), true)
}

// again triggers again in a pulse, with some more inputs rising.
func (b *bench) again(t transition, with part.Pins, prolongs bool) error {
	pulse := b.r.Pulse.Seconds
	what := "a second " + b.describe(t.from, t.to) + " at 0.6 of the pulse"
	if with != 0 {
		what += " and a rise of " + b.name(b.x.Retrigger)
	}
	for attempt := 1; ; attempt++ {
		before := b.rest()
		w, err := b.watch(b.x.Output, before+b.lookedFor()+dur(2*pulse), mostEdges, b.act(0, t.from), b.act(before, t.to),
			b.act(before+dur(0.3*pulse), t.from), b.act(before+dur(0.6*pulse), t.to|with))
		if err != nil {
			return err
		}
		edges, second := after(w, w.Acted[1]), (w.Acted[3] - w.Acted[1]).Seconds()
		uncertain := len(edges) == 2 && width(edges[0], edges[1]).Uncertainty > known*pulse
		if second > soonEnough*pulse || uncertain {
			if attempt < retries {
				continue
			}
			b.tooShort("whether "+what+" prolongs it", actableTwice)
			return nil
		}
		check := Check{What: what, Wants: "the pulse ends as without", Saw: count(len(edges))}
		want, least, most := "of "+quantity.Seconds(pulse), 0.8*pulse, pulse+0.5*second
		switch {
		case prolongs && with != 0: // the 4047 ends it with a cycle of its oscillator
			check.Wants, want, least, most = "the pulse lasts longer", "longer than "+quantity.Seconds(pulse), pulse+0.5*second, 4*pulse
		case prolongs:
			check.Wants, want, least, most = "the pulse lasts as long from there", "of "+quantity.Seconds(pulse+second), 0.8*pulse+second, 1.2*pulse+second
		}
		if len(edges) == 2 && edges[0].High {
			p := width(edges[0], edges[1])
			check.Pulse, check.Saw = &p, "a pulse of "+p.String()
			check.Right = p.Seconds+p.Uncertainty >= least && p.Seconds-p.Uncertainty <= most
		}
		if !check.Right {
			pins := part.PinSet(b.x.Output)
			if b.x.Retrigger != 0 {
				pins = pins.With(b.x.Retrigger, true)
			}
			b.fails(pins, "%s: %s gave %s, and should give one %s", b.name(b.x.Output), check.What, check.Saw, want)
		}
		b.r.Checks = append(b.r.Checks, check)
		return nil
	}
}

// clear ends a pulse at 0.4 of it, by every input that clears.
func (b *bench) clear(t transition) error {
	switch {
	case !b.x.Clears:
		return nil
	case b.r.Pulse.Seconds < actable:
		b.tooShort("whether the clear ends a pulse", actable)
		return nil
	}
	for _, pin := range b.pins {
		if cleared := t.to ^ part.PinSet(pin); b.x.Clear.Holds(cleared) {
			if err := b.clearBy(t, pin); err != nil {
				return err
			}
		}
	}
	return nil
}

// clearBy clears in a pulse by one input.
func (b *bench) clearBy(t transition, pin int) error {
	pulse, trigger := b.r.Pulse.Seconds, t.to
	if b.x.ByLevel {
		trigger = t.from // it is taken back before
	}
	cleared := trigger ^ part.PinSet(pin)
	check := Check{What: b.describe(trigger, cleared) + " at 0.4 of the pulse", Wants: "the pulse ends at once"}
	for attempt := 1; ; attempt++ {
		before := b.rest()
		actions := []adapterAction{b.act(0, t.from), b.act(before, t.to)}
		if b.x.ByLevel {
			actions = append(actions, b.act(before+dur(0.1*pulse), t.from))
		}
		actions = append(actions, b.act(before+dur(0.4*pulse), cleared))
		w, err := b.watch(b.x.Output, before+b.lookedFor(), mostEdges, actions...)
		if err != nil {
			return err
		}
		edges, at := after(w, w.Acted[1]), w.Acted[len(actions)-1]
		latest := soonEnough * pulse
		if w.Within == 0 {
			latest = min(latest, pulse-lookAgain)
		}
		if (at - w.Acted[1]).Seconds() > latest {
			if attempt < retries {
				continue
			}
			b.tooShort("whether the clear ends a pulse", actable)
			return nil
		}
		check.Saw = count(len(edges))
		if len(edges) == 2 && edges[0].High {
			p := width(edges[0], edges[1])
			late := (edges[1].At - at).Seconds()
			check.Pulse, check.Saw = &p, "it ended after "+quantity.Seconds(late)
			if late <= 1e-6 {
				check.Saw = "it ended at once"
			}
			_, tooLate := b.lateness(w, edges[1], at)
			check.Right = late >= -5e-6 && !tooLate
			if late < -5e-6 {
				check.Saw = "it had ended " + quantity.Seconds(-late) + " before"
			}
		}
		if !check.Right {
			b.fails(part.PinSet(b.x.Output, pin), "%s: %s did not end the pulse at once: %s", b.name(b.x.Output), check.What, check.Saw)
		}
		b.r.Checks = append(b.r.Checks, check)
		return nil
	}
}
