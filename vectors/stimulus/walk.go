package stimulus

import (
	"fmt"
	"math/rand/v2"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// Extents of a walk.
const (
	afterTour    = 300    // the same after a tour, so that what one transition hides another shows
	walkSteps    = 9000   // legal random steps, weighted towards the clocks
	maxCycle     = 65_536 // pulses of a counter's whole cycle: 16 bits; two steps each
	longBurst    = 2_100  // pulses of a longer cycle: 11 bits come up
	longestAgain = 2_048  // pulses of a cycle that is run again behind each set, clear and load
	maxModeCycle = 300    // pulses after which a clock is taken to count, for a trail
	warmUp       = 40     // pulses after which a counter is on its cycle, illegal states left
	maxCycles    = 3      // settings of the controls whose cycles are run, for each clock
)

// walk covers by mode a component whose state graph is too large: each clock
// pulsed through the whole cycle of the settings that count, up and down, and a
// random legal walk that changes controls, data and state.
func (w *walker) walk(r *Rules, k logic.Component, moves part.Pins, random *rand.Rand) string {
	before := len(w.s.Steps)
	clocks := w.c.Clocks() & moves
	text := ""
	for pin := range clocks.All() {
		cycles := w.findCycles(r, k, moves, pin, w.longest, random)
		for _, cycle := range cycles {
			if w.runCycle(r, k, moves, pin, cycle, cycles) {
				if cycle.length > w.longest {
					text += fmt.Sprintf(", %d pulses of a longer cycle at pin %d", longBurst, pin)
				} else {
					text += fmt.Sprintf(", a whole cycle of %d pulses at pin %d", cycle.length, pin)
				}
			}
		}
	}
	w.s.Fixed = len(w.s.Steps)
	w.wander(r, moves, clocks, walkSteps, random)
	return fmt.Sprintf("by mode: %d steps of legal changes over data, controls and clocks%s; %d of %d outputs expected at both levels",
		len(w.s.Steps)-before, text, w.toggled(k), (k.Outputs & w.s.Outputs).Len())
}

// A mix says how a walk chooses its steps, in percent: a clock edge, all data at
// once, one data pin, and for what is left a set, a clear or an enable.
type mix struct{ clock, data, bit int }

// mixes are walked one after the other: much of everything, then long runs
// between sets and clears, then enables and data alone.
var mixes = []mix{{55, 20, 17}, {85, 6, 8}, {30, 25, 25}}

// wander takes random legal steps in each of the mixes. Where there are no clocks,
// the sets, clears and enables have their share.
func (w *walker) wander(r *Rules, moves, clocks part.Pins, steps int, random *rand.Rand) {
	for _, mix := range mixes {
		w.wanderBy(r, moves, clocks, mix, steps/len(mixes), random)
	}
}

// wanderBy takes random legal steps in one mix.
func (w *walker) wanderBy(r *Rules, moves, clocks part.Pins, mix mix, steps int, random *rand.Rand) {
	async := w.c.Asynchronous() & moves &^ clocks
	data := moves & r.data
	if clocks == 0 {
		clocks = async
	}
	for range steps {
		to := w.drive
		switch p := random.IntN(100); {
		case p < mix.clock:
			to ^= pick(clocks, random)
		case p < mix.clock+mix.data:
			to = to&^data | part.Pins(random.Uint32())&data
		case p < mix.clock+mix.data+mix.bit:
			to ^= pick(data, random)
		default:
			to ^= pick(async, random)
		}
		to = w.drive ^ r.Move(w.drive, w.drive^to)
		w.floated = 0
		if random.IntN(16) == 0 {
			w.floated = w.released()
		}
		if to != w.drive && r.Allows(w.drive, to) && w.turnsSafely(to) {
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
	for _, t := range w.c.Together { // a wire holds them
		if w.m.Node(t.While).Lane(0) != logic.Zero {
			pins &^= t.Pins
		}
	}
	return pins
}

// turnsSafely reports whether a step floats pins only while no clock moves, so
// that the level of a floating pin is never taken in.
func (w *walker) turnsSafely(to part.Pins) bool {
	return w.floated == 0 || (w.drive^to)&(w.c.Clocks()|w.c.Asynchronous()) == 0
}

// pick takes one pin of a set at random, or none of an empty one.
func pick(pins part.Pins, random *rand.Rand) part.Pins {
	if pins == 0 {
		return 0
	}
	n := random.IntN(pins.Len())
	for pin := range pins.All() {
		if n == 0 {
			return part.PinSet(pin)
		}
		n--
	}
	return 0
}

// toggled counts the outputs that were expected both high and low.
func (w *walker) toggled(k logic.Component) int {
	var high, low part.Pins
	for _, st := range w.s.Steps {
		high |= st.High
		low |= st.Compared &^ st.High &^ st.Z
	}
	return (high & low & k.Outputs).Len()
}
