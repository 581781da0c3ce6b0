package thresholds

import (
	"cmp"
	"fmt"
	"slices"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A Probe is how an input is shown at an output: as it rises, as it falls, or both.
type Probe struct {
	Pin, Output  int
	rises, falls passage
}

// A passage is a change of one input that an output follows. Where the part remembers, the
// steps before it lead there from any state.
type passage struct {
	before   []stimulus.Step
	from, to stimulus.Step // which differ in the input alone
}

// none reports whether there is no such change.
func (p passage) none() bool { return p.from.Driven == 0 }

// Searches are bounded: how many steps are looked at, how many lead to a ramp, and how often these
// change the input, each time with the capacitor to be charged.
const (
	searched    = 1 << 16
	mostBefore  = 500
	mostChanges = 64
)

// Probes are how a request's inputs are measured, in the order of their pins, and in words why others
// are not, and which threshold of one is not.
func Probes(c *logic.Circuit, steps []stimulus.Step, all bool) (probes []Probe, unmeasured []string) {
	v := c.Variant
	steps = steps[:min(len(steps), searched)]
	find := finder(c, steps)
	gates := map[string]bool{}
	for i := range v.Pins {
		pin := &v.Pins[i]
		gate := soleGate(v, pin.Number)
		if !measurable(pin) || !all && !pin.Schmitt && gates[gate] {
			continue
		}
		if c.Clocks().Has(pin.Number) && !pin.Schmitt {
			if all {
				unmeasured = append(unmeasured, fmt.Sprintf("threshold of %v: it clocks, and a slow edge may clock more than once", pin))
			}
			continue
		}
		p := find(pin.Number)
		switch {
		case p.Output != 0:
			probes, gates[gate] = append(probes, p), true
			if pin.Schmitt {
				unmeasured = append(unmeasured, p.half(pin)...)
			}
		case pin.Schmitt || all:
			unmeasured = append(unmeasured, fmt.Sprintf("thresholds of %v: no output follows it alone", pin))
		}
	}
	return probes, unmeasured
}

// soleGate is the gate of a pin, or what those pins share that serve several gates or none.
func soleGate(v *part.Variant, pin int) string {
	gates := 0
	for _, g := range v.Gates {
		if slices.Contains(g.Pins, pin) {
			gates++
		}
	}
	if gates != 1 {
		return ""
	}
	return v.GateOf(pin)
}

// measurable reports whether a pin is an input of its own.
func measurable(p *part.Pin) bool {
	return (p.Role == part.Input || p.Role == part.Bidirectional) && p.Tied == part.NotTied && p.Untested == ""
}

// half says which threshold of a Schmitt trigger is not measured.
func (p Probe) half(pin *part.Pin) []string {
	switch {
	case p.falls.none():
		return []string{fmt.Sprintf("VT- of %v: no output follows the input as it falls", pin)}
	case p.rises.none():
		return []string{fmt.Sprintf("VT+ of %v: no output follows the input as it rises", pin)}
	}
	return nil
}

// finder gives how a pin is shown; an Output of 0 is not at all.
func finder(c *logic.Circuit, steps []stimulus.Step) func(pin int) Probe {
	if len(c.Registers) > 0 {
		passages := passagesOf(c, steps)
		return func(pin int) Probe { return chosen(pin, passages[pin]) }
	}
	type key struct{ driven, drive part.Pins }
	at := map[key]int{}
	for i, st := range steps {
		at[key{st.Driven, st.Drive}] = i
	}
	return func(pin int) Probe {
		for _, st := range steps {
			if !st.Driven.Has(pin) || st.Drive.Has(pin) {
				continue
			}
			if j, ok := at[key{st.Driven, st.Drive.With(pin, true)}]; ok {
				if outs := shownAt(c.Variant, st, steps[j]); len(outs) > 0 {
					return Probe{Pin: pin, Output: outs[0], rises: passage{from: st, to: steps[j]}, falls: passage{from: steps[j], to: st}}
				}
			}
		}
		return Probe{}
	}
}

// shown is a passage of a part that remembers at an output, by its number of steps before.
type shown struct {
	passage
	output, at int
	rises      bool
}

// passagesOf finds where in a sequence, which leads there from any state, an input may change alone and an output
// follows, the first for each output and direction. A simulation says what the output does, also as the input goes back.
func passagesOf(c *logic.Circuit, steps []stimulus.Step) map[int][]shown {
	found := map[int][]shown{}
	keep := func(pin int, s shown) {
		if !slices.ContainsFunc(found[pin], func(f shown) bool { return f.output == s.output && f.rises == s.rises }) {
			found[pin] = append(found[pin], s)
		}
	}
	rules, m := stimulus.RulesOf(c), c.NewMachine()
	changes := map[int]int{}
	for i, st := range steps[:min(len(steps), mostBefore)] {
		if i > 0 {
			for pin := range (st.Drive ^ steps[i-1].Drive).All() {
				changes[pin]++
			}
		}
		put(m, c.Variant, st)
		for pin := range st.Driven.All() {
			if !measurable(&c.Variant.Pins[pin-1]) || changes[pin] > mostChanges || !rules.Allows(st.Drive, st.Drive^part.PinSet(pin)) {
				continue
			}
			other := stimulus.Step{Driven: st.Driven, Drive: st.Drive ^ part.PinSet(pin)}
			there := m.Clone()
			put(there, c.Variant, other)
			from, to := seen(m, st, st.Compared), seen(there, other, st.Compared)
			rises := other.Drive.Has(pin)
			for _, out := range shownAt(c.Variant, from, to) {
				keep(pin, shown{passage{steps[:i], from, to}, out, i + 1, rises})
			}
			if !rules.Allows(other.Drive, st.Drive) {
				continue
			}
			back := there.Clone()
			put(back, c.Variant, st)
			again := seen(back, st, st.Compared)
			for _, out := range shownAt(c.Variant, to, again) {
				keep(pin, shown{passage{steps[:i+1], to, again}, out, i + 2, !rises})
			}
		}
	}
	return found
}

// put drives the pins of a simulated chip as a step does; what it does not drive is released.
func put(m *logic.Machine, v *part.Variant, st stimulus.Step) {
	for i := range v.Pins {
		if p := &v.Pins[i]; p.Role == part.Input || p.Role == part.Bidirectional {
			level := logic.Z
			if st.Driven.Has(p.Number) {
				level = logic.FromBool(st.Drive.Has(p.Number))
			}
			m.Set(p.Number, logic.Splat(level))
		}
	}
	m.Settle()
}

// seen is a step with those outputs that show a known level.
func seen(m *logic.Machine, st stimulus.Step, outs part.Pins) stimulus.Step {
	s := stimulus.Step{Driven: st.Driven, Drive: st.Drive}
	for out := range outs.All() {
		level := m.Out(out).Lane(0)
		s.Compared = s.Compared.With(out, level != logic.X)
		s.High = s.High.With(out, level == logic.One)
		s.Z = s.Z.With(out, level == logic.Z)
	}
	return s
}

// chosen takes the output that follows a pin both ways soonest, or else the first one way.
func chosen(pin int, passages []shown) (best Probe) {
	soonest := 0
	for _, up := range passages {
		for _, down := range passages {
			if at := max(up.at, down.at); up.rises && !down.rises && up.output == down.output && (soonest == 0 || at < soonest) {
				soonest, best = at, Probe{Pin: pin, Output: up.output, rises: up.passage, falls: down.passage}
			}
		}
	}
	if soonest != 0 || len(passages) == 0 {
		return best
	}
	first := slices.MinFunc(passages, func(a, b shown) int { return cmp.Compare(a.at, b.at) })
	best = Probe{Pin: pin, Output: first.output}
	if first.rises {
		best.rises = first.passage
	} else {
		best.falls = first.passage
	}
	return best
}

// shownAt are the outputs that differ in two steps, those first that drive both ways. The bias pulls a released one up.
func shownAt(v *part.Variant, from, to stimulus.Step) (outs []int) {
	for out := range (from.Compared & to.Compared).All() {
		if p := v.Pins[out-1]; shownHigh(from, out) != shownHigh(to, out) && p.Stage != part.OpenEmitter {
			outs = append(outs, out)
		}
	}
	slices.SortStableFunc(outs, func(a, b int) int { return loose(v, a) - loose(v, b) })
	return outs
}

func shownHigh(st stimulus.Step, pin int) bool { return st.High.Has(pin) || st.Z.Has(pin) }

// loose is 1 for an output that does not always drive both ways.
func loose(v *part.Variant, pin int) int {
	if v.Pins[pin-1].Stage == part.TotemPole {
		return 0
	}
	return 1
}
