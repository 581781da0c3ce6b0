package stimulus

import (
	"math/rand/v2"
	"slices"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// A cycle is a setting of the inputs in which pulses at a clock bring the state
// round to where it was.
type cycle struct {
	setting part.Pins
	length  int    // pulses; more than the longest that was looked for where it was not seen to close
	first   string // state after one pulse, which distinguishes up from down
}

// findCycles tries 64 settings of the inputs at a time on copies of the chip and
// gives those in which a clock counts: the longest cycle of each direction, up
// to a longest one.
func (w *walker) findCycles(r *Rules, k logic.Component, moves part.Pins, clock, longest int, random *rand.Rand) []cycle {
	settings := w.settings(r, moves, clock, random)
	m := w.copies(settings)
	pulse := func() {
		for _, high := range []bool{!w.drive.Has(clock), w.drive.Has(clock)} {
			m.Set(clock, logic.Splat(logic.FromBool(high)))
			m.Settle()
		}
	}
	for range warmUp {
		pulse()
	}
	start := stateWords(m, k)
	lengths := make([]int, len(settings))
	open := ^uint64(0)
	var first []logic.Word
	for n := 1; n <= longest && open != 0; n++ {
		pulse()
		if n == 1 {
			first = stateWords(m, k)
		}
		back := open &^ differ(start, stateWords(m, k))
		open &^= back
		for lane := range lengths {
			if back>>lane&1 != 0 {
				lengths[lane] = n
			}
		}
	}
	var cycles []cycle
	for lane, setting := range settings {
		if open>>lane&1 != 0 { // it counts on past the budget
			lengths[lane] = longest + 1
		}
		if lengths[lane] > 4 {
			cycles = append(cycles, cycle{setting, lengths[lane], laneText(first, lane)})
		}
	}
	slices.SortStableFunc(cycles, func(a, b cycle) int { return b.length - a.length })
	return firstOfEach(cycles)
}

// firstOfEach keeps the longest cycle of each direction.
func firstOfEach(cycles []cycle) []cycle {
	var kept []cycle
	for _, c := range cycles {
		if !slices.ContainsFunc(kept, func(k cycle) bool { return k.first == c.first }) && len(kept) < maxCycles {
			kept = append(kept, c)
		}
	}
	return kept
}

// settings lists 64 settings of the inputs, the clock as it is: the present one,
// all low, all high, and random ones.
func (w *walker) settings(r *Rules, moves part.Pins, clock int, random *rand.Rand) []part.Pins {
	free := moves.With(clock, false)
	list := []part.Pins{w.drive, w.drive &^ free, w.drive | free}
	for len(list) < 64 {
		list = append(list, w.drive&^free|part.Pins(random.Uint32())&free)
	}
	return slices.DeleteFunc(list, func(s part.Pins) bool { return r.forbidden(s) })
}

// copies makes a machine with the walker's state in every lane, and a setting of
// the inputs in each of the first lanes; the others have the present one.
func (w *walker) copies(settings []part.Pins) *logic.Machine {
	m := w.c.NewMachine()
	w.copyTo(m, settings)
	return m
}

// copyTo is copies on a machine that has its inputs from this walker alone.
func (w *walker) copyTo(m *logic.Machine, settings []part.Pins) {
	state := make([]logic.Word, len(w.c.State))
	for i := range state {
		state[i] = logic.Splat(w.m.State(i).Lane(0))
	}
	for _, pin := range w.c.InputPins {
		level := logic.Splat(w.level(pin))
		for lane, setting := range settings {
			if w.mayDrive(pin) {
				level = level.With(lane, logic.FromBool(setting.Has(pin)))
			}
		}
		m.Set(pin, level)
	}
	m.Restore(state)
}

func stateWords(m *logic.Machine, k logic.Component) []logic.Word {
	words := make([]logic.Word, len(k.State))
	for i, bit := range k.State {
		words[i] = m.State(bit)
	}
	return words
}

// differ gives the lanes in which two states differ.
func differ(a, b []logic.Word) (lanes uint64) {
	for i := range a {
		lanes |= (a[i].Hi ^ b[i].Hi) | (a[i].Lo ^ b[i].Lo)
	}
	return lanes
}

func laneText(words []logic.Word, lane int) string {
	text := make([]byte, len(words))
	for i, word := range words {
		text[i] = word.Lane(lane).String()[0]
	}
	return string(text)
}

// runCycle sets the inputs one after the other and pulses the clock through the
// cycle, one of those found. It reports whether it could.
func (w *walker) runCycle(r *Rules, k logic.Component, moves part.Pins, clock int, c cycle, cycles []cycle) bool {
	if c.length > w.longest && w.longest < maxCycle {
		return false // the definition's sequences are there for it
	}
	toggle, ok := w.goTo(r, moves, clock, c.setting)
	if !ok {
		return false
	}
	pulses := c.length + 1
	if c.length > w.longest {
		pulses = longBurst
	}
	most, crest := -1, 0 // most bits high, and after how many pulses
	for n := range pulses {
		w.toggle(toggle)
		w.toggle(toggle)
		if n&(n-1) == 0 { // a stage has just come up: see it through every selector
			w.lookAround(r, moves&r.data)
		}
		if high := w.high(k); high > most {
			most, crest = high, n
		}
	}
	if c.length <= w.longest {
		w.crest(r, k, moves, toggle, c.length, (crest+c.length-1)%c.length)
		w.acrossModes(r, k, moves, clock, c, cycles)
	}
	return true
}

// goTo brings the inputs to a setting in which a clock counts, and gives the pins
// that pulse it. It reports whether it could.
func (w *walker) goTo(r *Rules, moves part.Pins, clock int, setting part.Pins) (toggle part.Pins, ok bool) {
	toggle = part.PinSet(clock)
	for range 3 { // a pin may have to wait for another, or for the other level of the clock
		for pin := range ((w.drive ^ setting) & moves &^ toggle).All() {
			if to := w.drive ^ r.Move(w.drive, part.PinSet(pin)); w.mayDrive(pin) && r.Allows(w.drive, to) {
				w.to(to)
			}
		}
		if (w.drive^setting)&moves&^toggle != 0 && r.Allows(w.drive, w.drive^toggle) {
			w.toggle(toggle)
		}
	}
	if (w.drive^setting)&toggle != 0 && r.Allows(w.drive, w.drive^toggle) {
		w.toggle(toggle)
	}
	if (w.drive^setting)&moves != 0 {
		return 0, false
	}
	toggle = r.Move(w.drive, toggle)
	return toggle, r.Allows(w.drive, w.drive^toggle) && r.Allows(w.drive^toggle, w.drive)
}

// longestAcross bounds the cycles that are run again for what another mode makes of
// the count.
const longestAcross = 512

// acrossModes fills a counter in a short mode and counts on in each other: what a
// divider's test mode is there for. Different counts show where the sections join.
func (w *walker) acrossModes(r *Rules, k logic.Component, moves part.Pins, clock int, c cycle, cycles []cycle) {
	if c.length > longestAcross {
		return
	}
	for _, other := range cycles {
		if other.setting == c.setting || other.length <= c.length {
			continue
		}
		for _, short := range []int{0, 1, 0} {
			toggle, ok := w.goTo(r, moves, clock, c.setting)
			if !ok {
				return
			}
			most := w.fill(k, toggle, c.length)
			for range c.length - short {
				if short == 0 && w.high(k) >= most {
					break
				}
				w.toggle(toggle)
				w.toggle(toggle)
			}
			if toggle, ok = w.goTo(r, moves, clock, other.setting); !ok {
				return
			}
			for n := range 2 * c.length {
				w.toggle(toggle)
				w.toggle(toggle)
				if n < 4 {
					w.lookAround(r, moves&r.data)
				}
			}
		}
	}
}

// fill runs a whole cycle and gives the most bits that were high in it.
func (w *walker) fill(k logic.Component, toggle part.Pins, length int) (most int) {
	for range length {
		w.toggle(toggle)
		w.toggle(toggle)
		most = max(most, w.high(k))
	}
	return most
}

// crest pulses a clock on until most bits of the counter are high, and then each
// set, clear and load: what a bit does with it shows at the highest stages too. A
// short cycle is run once more behind each, for bits that only show as the count
// goes on.
func (w *walker) crest(r *Rules, k logic.Component, moves, clock part.Pins, length, pulses int) {
	run := func(pulses int) {
		for range pulses {
			w.toggle(clock)
			w.toggle(clock)
		}
	}
	run(pulses)
	most := w.high(k)
	for pin := range (w.c.Asynchronous() & moves &^ w.c.Clocks()).All() {
		toggle := part.PinSet(pin)
		if !r.Allows(w.drive, w.drive^toggle) || !r.Allows(w.drive^toggle, w.drive) {
			continue
		}
		w.toggle(toggle)
		w.lookAround(r, moves&r.data)
		w.toggle(toggle)
		w.lookAround(r, moves&r.data)
		if length > longestAgain {
			if w.longest > maxCycle { // a long test has the time
				run(length)
			}
			return
		}
		run(length)
		for range length {
			if w.high(k) >= most {
				break
			}
			run(1)
		}
	}
}

// high counts the bits of a component that are high.
func (w *walker) high(k logic.Component) (n int) {
	for _, bit := range k.State {
		if w.m.State(bit).Lane(0) == logic.One {
			n++
		}
	}
	return n
}

// lookAround changes each pin of a set there and back, so that what they select
// is seen in the state at hand.
func (w *walker) lookAround(r *Rules, pins part.Pins) {
	for pin := range pins.All() {
		toggle := part.PinSet(pin)
		if w.mayDrive(pin) && r.Allows(w.drive, w.drive^toggle) && r.Allows(w.drive^toggle, w.drive) {
			w.toggle(toggle)
			w.toggle(toggle)
		}
	}
}
