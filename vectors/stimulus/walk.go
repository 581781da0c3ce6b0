package stimulus

import (
	"fmt"
	"math/rand/v2"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// Extents of a walk.
const (
	walkSteps     = 6000   // legal random steps, weighted towards the clocks
	maxCycle      = 70_000 // clock edges of a counter's whole cycle: 16 bits and one more pulse
	cyclePatience = 3      // whole cycles are run only where every pulse is this many steps at most
)

// walk covers by mode a component whose state graph is too large: long bursts of
// each clock in each setting of the controls, so that counters run their whole
// cycle, and a random legal walk that changes controls, data and state.
func (w *walker) walk(r *rules, k logic.Component, moves part.Pins, random *rand.Rand) string {
	before := len(w.s.Steps)
	clocks := w.c.Clocks() & moves
	cycles := w.cycles(r, k, clocks)
	w.wander(r, moves, clocks, random)
	toggled := w.toggled(k)
	return fmt.Sprintf("by mode: %d steps of legal changes over data, controls and clocks%s; %d of %d state bits seen at both levels",
		len(w.s.Steps)-before, cycles, toggled, len(k.State))
}

// cycles pulses each clock alone until the state repeats, from the setting at
// hand, and says how long the cycles were.
func (w *walker) cycles(r *rules, k logic.Component, clocks part.Pins) (text string) {
	for pin := range clocks.All() {
		clock := part.PinSet(pin)
		seen := w.stateOf(k)
		length := 0
		for length < maxCycle/2 {
			if !r.allows(w.drive, w.drive^clock) || !r.allows(w.drive^clock, w.drive) {
				break
			}
			w.toggle(clock)
			w.toggle(clock)
			length++
			if w.stateOf(k) == seen {
				break
			}
			if length == 40 && w.stuckShort(k) {
				break
			}
		}
		if length > 4 {
			text += fmt.Sprintf(", a cycle of %d pulses at pin %d", length, pin)
		}
	}
	return text
}

// stuckShort tells whether the state no longer moves with the clock: it shifts or holds.
func (w *walker) stuckShort(k logic.Component) bool {
	last := w.s.Steps[max(0, len(w.s.Steps)-8):]
	for _, st := range last {
		if st.High != last[0].High {
			return false
		}
	}
	return true
}

func (w *walker) stateOf(k logic.Component) string {
	text := make([]byte, 0, len(k.State))
	for _, i := range k.State {
		text = append(text, w.m.State(i).Lane(0).String()[0])
	}
	return string(text)
}

// wander takes random legal steps: mostly clock edges, then data, more rarely
// controls, and sets or clears seldom, so that much happens between them.
func (w *walker) wander(r *rules, moves, clocks part.Pins, random *rand.Rand) {
	async := w.c.Asynchronous() & moves &^ clocks
	data := moves & r.data
	for range walkSteps {
		var to part.Pins
		switch p := random.IntN(100); {
		case p < 55 && clocks != 0:
			to = w.drive ^ pick(clocks, random)
		case p < 75 && data != 0:
			to = w.drive&^data | part.Pins(random.Uint32())&data
		case p < 92 && data != 0:
			to = w.drive ^ pick(data, random)
		default:
			if async == 0 {
				continue
			}
			to = w.drive ^ pick(async, random)
		}
		w.floated = 0
		if random.IntN(16) == 0 {
			w.floated = w.released()
		}
		if r.allows(w.drive, to) && w.turnsSafely(to) {
			w.to(to)
		}
	}
	w.floated = 0
}

// released are the bidirectional pins that the chip releases now.
func (w *walker) released() (pins part.Pins) {
	for _, o := range w.c.Outputs {
		if w.c.Variant.Pins[o.Pin-1].Role == part.Bidirectional && w.m.Out(o.Pin).Lane(0) == logic.Z {
			pins = pins.With(o.Pin, true)
		}
	}
	return pins
}

// turnsSafely tells whether a step floats pins only while no clock moves, so
// that the level of a floating pin is never taken in.
func (w *walker) turnsSafely(to part.Pins) bool {
	return w.floated == 0 || (w.drive^to)&(w.c.Clocks()|w.c.Asynchronous()) == 0
}

// pick takes one pin of a set at random.
func pick(pins part.Pins, random *rand.Rand) part.Pins {
	n := random.IntN(pins.Len())
	for pin := range pins.All() {
		if n == 0 {
			return part.PinSet(pin)
		}
		n--
	}
	return 0
}

// toggled counts the output bits that were expected both high and low.
func (w *walker) toggled(k logic.Component) int {
	var high, low part.Pins
	for _, st := range w.s.Steps {
		high |= st.High
		low |= st.Compared &^ st.High &^ st.Z
	}
	return min((high & low & k.Outputs).Len(), len(k.State))
}
