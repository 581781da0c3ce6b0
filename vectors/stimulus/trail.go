package stimulus

import (
	"math/rand/v2"
	"slices"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// A Trail goes on where a sequence ends: a good chip in the state that the
// sequence leaves it in, and the steps taken since.
type Trail struct {
	walker *walker
	rules  *Rules
	random *rand.Rand
	clocks part.Pins
	async  part.Pins // sets, clears and enables that are no clocks
	data   part.Pins
	both   part.Pins // bidirectional pins, part of data
	modes  []mode
}

// A mode is a setting of the inputs under which a clock counts.
type mode struct{ clock, setting part.Pins }

// modesTried are how often settings are drawn in which a clock might count, 64 each.
const modesTried = 4

// Resume takes a good chip through a sequence and stands at its end.
func Resume(c *logic.Circuit, s *Sequence) *Trail {
	empty := *s
	empty.Steps = nil
	t := &Trail{walker: newWalker(c, &empty), rules: RulesOf(c)}
	w := t.walker
	for _, st := range s.Steps {
		w.floated = s.Inputs &^ st.Driven
		w.drive = w.drive&^st.Driven | st.Drive
		w.settle()
	}
	w.floated = 0
	moves := t.rules.sensitive | t.rules.data
	t.clocks = c.Clocks() & moves
	t.async = c.Asynchronous() & moves &^ t.clocks
	t.data = moves & t.rules.data
	for _, p := range c.Variant.Pins {
		t.both = t.both.With(p.Number, p.Role == part.Bidirectional)
	}
	t.findModes(c)
	return t
}

// findModes looks for the settings under which each clock counts.
func (t *Trail) findModes(c *logic.Circuit) {
	random := rand.New(rand.NewPCG(1, 5))
	for _, k := range c.Components() {
		moves := k.Inputs & (t.rules.sensitive | t.rules.data)
		for clock := range (t.clocks & moves).All() {
			for range modesTried {
				for _, cycle := range t.walker.findCycles(t.rules, k, moves, clock, maxModeCycle, random) {
					t.modes = append(t.modes, mode{part.PinSet(clock), cycle.setting})
				}
			}
		}
	}
}

// Fork gives a trail that stands where this one does and goes its own way, by a
// random seed.
func (t *Trail) Fork(seed uint64) *Trail {
	f := *t
	w, s := *t.walker, *t.walker.s
	s.Steps = nil
	w.m, w.s, w.trials = t.walker.m.Clone(), &s, nil
	f.walker, f.random = &w, rand.New(rand.NewPCG(seed, 3))
	return &f
}

// Steps are those taken since the trail was resumed or forked.
func (t *Trail) Steps() []Step { return t.walker.s.Steps }

// Explore goes on by a few moves of the kinds that bring the state of a chip about
// and show it: bursts of a clock under one setting of the controls, pulses at a
// set, clear or enable, loads of particular data, a look around at what every
// control selects, and legal steps at random. Length is how many moves.
func (t *Trail) Explore(length int) {
	if len(t.walker.s.Steps) == 0 && t.random.IntN(3) == 0 {
		t.setData(t.pattern())
	}
	for range length {
		switch n := t.random.IntN(100); {
		case n < 15:
			t.burst()
		case n < 25:
			t.pulse(pick(t.async, t.random))
		case n < 35:
			t.setData(t.pattern())
		case n < 42:
			t.strobe()
		case n < 62:
			t.count()
		case n < 70:
			t.look()
		case n < 75:
			t.float()
		default:
			t.walker.wanderBy(t.rules, t.clocks|t.async|t.data, t.clocks, mixes[t.random.IntN(len(mixes))], 4+t.random.IntN(24), t.random)
		}
	}
	t.walker.floated = 0
}

// may takes a step if it is legal, and reports whether it was.
func (t *Trail) may(to part.Pins) bool {
	w := t.walker
	to = w.drive ^ t.rules.Move(w.drive, w.drive^to)
	if to == w.drive || !t.rules.Allows(w.drive, to) || !w.turnsSafely(to) {
		return false
	}
	w.to(to)
	return true
}

// thereAndBack changes pins and changes them back, and reports whether both were legal.
func (t *Trail) thereAndBack(pins part.Pins) bool {
	if !t.may(t.walker.drive ^ pins) {
		return false
	}
	return t.may(t.walker.drive ^ pins)
}

// pattern gives levels of the data pins: all alike, one unlike the others, the
// levels at hand with one changed, or random ones.
func (t *Trail) pattern() part.Pins {
	one := pick(t.data, t.random)
	switch t.random.IntN(7) {
	case 0:
		return 0
	case 1:
		return t.data
	case 2:
		return one
	case 3:
		return t.data &^ one
	case 4:
		return t.walker.drive&t.data ^ one
	}
	return part.Pins(t.random.Uint32()) & t.data
}

// setData brings the data pins to levels, one after the other where they may not
// change together.
func (t *Trail) setData(levels part.Pins) {
	w := t.walker
	if t.may(w.drive&^t.data | levels) {
		return
	}
	for pin := range ((w.drive ^ levels) & t.data).All() {
		t.may(w.drive ^ part.PinSet(pin))
	}
}

// pulse changes a pin there and back, with a look around in between now and then.
func (t *Trail) pulse(pin part.Pins) {
	if pin == 0 || !t.may(t.walker.drive^pin) {
		return
	}
	switch t.random.IntN(4) {
	case 0:
		t.look()
	case 1:
		t.burst()
	}
	t.may(t.walker.drive ^ pin)
}

// longestBurst is how many pulses a burst has at most.
const longestBurst = 300

// burst pulses one clock many times, after the data were set now and then.
func (t *Trail) burst() {
	clock := pick(t.clocks, t.random)
	if clock == 0 {
		clock = pick(t.async, t.random)
	}
	if clock == 0 {
		return
	}
	if t.random.IntN(3) == 0 {
		t.setData(t.pattern())
	}
	pulses := 1 + t.random.IntN(1<<t.random.IntN(6))
	if t.random.IntN(24) == 0 {
		pulses = longestBurst
	}
	for range pulses {
		if !t.thereAndBack(clock) {
			return
		}
	}
}

// strobe changes a data pin there and back, with pulses at a clock in between: a
// load or an enable that acts with the clock.
func (t *Trail) strobe() {
	pin, clock := pick(t.data&^t.both, t.random), pick(t.clocks, t.random)
	if pin == 0 || clock == 0 || !t.may(t.walker.drive^pin) {
		return
	}
	for range 2 * (1 + t.random.IntN(2)) {
		t.may(t.walker.drive ^ clock)
	}
	t.may(t.walker.drive ^ pin)
}

// count loads particular data by whatever loads, and counts from there; what other
// clocks take over is seen at the end.
func (t *Trail) count() {
	if len(t.modes) == 0 {
		return
	}
	m := t.modes[t.random.IntN(len(t.modes))]
	if t.random.IntN(2) == 0 {
		t.setData(t.pattern())
		if t.random.IntN(2) == 0 {
			t.strobe()
		} else {
			t.pulse(pick(t.async, t.random))
		}
	}
	w := t.walker
	for range 3 { // a pin may have to wait for another
		for pin := range ((w.drive ^ m.setting) & (t.async | t.data) &^ m.clock).All() {
			if w.mayDrive(pin) {
				t.may(w.drive ^ part.PinSet(pin))
			}
		}
	}
	if t.random.IntN(2) == 0 { // a pulse that is held back, from just here
		t.strobe()
	}
	pulses := 1 + t.random.IntN(1<<t.random.IntN(9))
	for range pulses {
		if !t.thereAndBack(m.clock) {
			break
		}
	}
	if t.random.IntN(2) == 0 {
		for clock := range (t.clocks &^ m.clock).All() {
			t.thereAndBack(part.PinSet(clock))
		}
	}
}

// look changes every pin that is no clock there and back, where it is legal, data
// first: what they select and enable is seen in the state at hand.
func (t *Trail) look() {
	pins := slices.Collect((t.data &^ t.both).All())
	for _, pin := range pins {
		t.thereAndBack(part.PinSet(pin))
	}
}

// float leaves the bidirectional pins that the chip releases undriven for a step.
func (t *Trail) float() {
	w := t.walker
	if t.both == 0 {
		return
	}
	w.floated = w.released() & (part.Pins(t.random.Uint32()) | -part.Pins(t.random.IntN(2)))
	if !t.may(w.drive ^ pick(t.data&^t.both, t.random)) {
		w.to(w.drive)
	}
	w.floated = 0
}

// State gives the level of bit i of Circuit.State.
func (t *Trail) State(i int) logic.Value { return t.walker.m.State(i).Lane(0) }

// Rules are those by which the trail goes.
func (t *Trail) Rules() *Rules { return t.rules }

// Follow changes pins, a set a step, whatever they are.
func (t *Trail) Follow(way []part.Pins) {
	for _, pins := range way {
		t.walker.toggle(pins)
	}
}
