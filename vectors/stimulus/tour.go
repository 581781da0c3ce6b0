package stimulus

import (
	"fmt"
	"math/rand/v2"
	"strings"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// Limits within which the whole state graph of a component is toured.
const (
	maxTourNodes = 4096
	maxTourEdges = 12_000 // at 80 µs a step on the wire, about a second
)

// For chooses and computes the steps that test a part: the sequences of its
// definition; then every combination of the inputs for a combinational part, a tour
// of every transition of the state graph for what remembers little, and a walk
// through its modes for what remembers more. A memory has no such steps: the error
// is a *logic.MemoryError.
func For(c *logic.Circuit) (*Sequence, error) { return forCycles(c, maxCycle) }

// Long is For with the whole cycles of dividers of up to LongStages stages, which
// take millions of steps.
func Long(c *logic.Circuit) (*Sequence, error) { return forCycles(c, 1<<LongStages) }

// LongStages is how many stages of a divider a long test reaches.
const LongStages = 20

func forCycles(c *logic.Circuit, longest int) (*Sequence, error) {
	if err := logic.RefuseMemory(c.Variant); err != nil {
		return nil, err
	}
	if len(c.Registers) == 0 {
		if hasBidirectional(c.Variant) {
			return turned(c), nil
		}
		if sweptInputs(c) > maxExhaustiveInputs {
			return sampled(c), nil
		}
		return Exhaustive(c.Variant)
	}
	s := newSequence(c)
	w := newWalker(c, s)
	r := RulesOf(c)
	w.drive = r.legalStart(w.drive)
	methods, err := w.published(r)
	if err != nil {
		return nil, err
	}
	w.longest = longest
	if len(methods) > 0 {
		w.longest = longestBeside
	}
	for i, k := range c.Components() {
		if k.Inputs == 0 || k.Outputs == 0 {
			continue
		}
		method, err := w.component(r, k, uint64(i))
		if err != nil {
			return nil, err
		}
		methods = append(methods, method)
	}
	s.Method = strings.Join(merge(methods), "; ")
	return s, nil
}

// merge joins equal descriptions: the two flip-flops of a 7474 read alike.
func merge(methods []string) []string {
	var merged []string
	for i, m := range methods {
		if i == 0 || m != methods[i-1] {
			merged = append(merged, m)
		}
	}
	if len(merged) == 1 && len(methods) > 1 {
		merged[0] = fmt.Sprintf("each of %d independent parts: %s", len(methods), merged[0])
	}
	return merged
}

// component tests one independent part of the chip while the others rest.
func (w *walker) component(r *Rules, k logic.Component, seed uint64) (string, error) {
	moves := k.Inputs & (r.sensitive | r.data)
	if len(k.State) == 0 {
		return w.sweepComponent(moves)
	}
	random := rand.New(rand.NewPCG(seed, 1))
	w.initialise(r, moves, k, random)
	g, ok := explore(w, r, k, moves)
	if !ok {
		return w.walk(r, k, moves, random), nil
	}
	bound := g.lowerBound()
	steps := w.tour(g)
	w.s.Fixed = len(w.s.Steps)
	w.wander(r, moves, w.c.Clocks()&moves, afterTour, random)
	return fmt.Sprintf("state tour: %d states and input levels, all %d transitions, in %d steps (at least %d are needed), and %d steps at random", len(g.nodes), g.edges, steps, bound, len(w.s.Steps)-w.s.Fixed), nil
}

// sweepComponent goes through all input combinations of a part without memory.
func (w *walker) sweepComponent(moves part.Pins) (string, error) {
	var pins []int
	for pin := range moves.All() {
		pins = append(pins, pin)
	}
	if len(pins) > maxExhaustiveInputs {
		return "", fmt.Errorf("part %s: %d inputs without memory are too many for a sweep", w.c.Variant.Part.Number, len(pins))
	}
	rest := w.drive &^ moves
	for n := range uint64(1) << len(pins) {
		drive := rest
		for i, pin := range pins {
			drive = drive.With(pin, (n^n>>1)>>i&1 != 0)
		}
		w.to(drive)
	}
	return fmt.Sprintf("exhaustive: all %d combinations of %d inputs", 1<<len(pins), len(pins)), nil
}

// initialise takes a component from all unknown to a known state, by the legal
// step that makes most bits known, and by random legal steps where none does.
// What cannot be made known stays unknown, and is not compared.
func (w *walker) initialise(r *Rules, moves part.Pins, k logic.Component, random *rand.Rand) {
	if len(w.s.Steps) == 0 {
		w.to(w.drive)
	}
	for range 40 * (len(k.State) + 4) {
		if w.unknown(k) == 0 {
			return
		}
		w.to(w.bestMove(r, moves, k, random))
	}
}

func (w *walker) unknown(k logic.Component) int {
	n := 0
	for _, i := range k.State {
		if w.m.State(i).Lane(0) == logic.X {
			n++
		}
	}
	return n
}

// bestMove tries every legal change of one pin on a copy of the chip and takes
// the one that leaves the fewest state bits unknown; among equals, one at random.
func (w *walker) bestMove(r *Rules, moves part.Pins, k logic.Component, random *rand.Rand) part.Pins {
	legal := w.legalMoves(r, moves)
	if len(legal) == 0 {
		return w.drive
	}
	random.Shuffle(len(legal), func(i, j int) { legal[i], legal[j] = legal[j], legal[i] })
	best, fewest := legal[0], w.unknown(k)
	for i, next := range w.successors(legal) {
		unknown := 0
		for _, bit := range k.State {
			if next[bit] == logic.X {
				unknown++
			}
		}
		if unknown < fewest {
			best, fewest = legal[i], unknown
		}
	}
	return best
}

// legalMoves lists the levels that one legal change of one pin leads to.
func (w *walker) legalMoves(r *Rules, moves part.Pins) []part.Pins {
	var legal []part.Pins
	for pin := range moves.All() {
		to := w.drive ^ r.Move(w.drive, part.PinSet(pin))
		if w.mayDrive(pin) && r.Allows(w.drive, to) {
			legal = append(legal, to)
		}
	}
	return legal
}

// mayDrive reports whether the chip leaves the pin to the adapter.
func (w *walker) mayDrive(pin int) bool {
	return w.c.Variant.Pins[pin-1].Role != part.Bidirectional || w.m.Out(pin).Lane(0) == logic.Z
}

// successors gives the state that each of up to 64 levels leads to, one a lane.
func (w *walker) successors(to []part.Pins) [][]logic.Value {
	m := w.trial(to)
	next := make([][]logic.Value, len(to))
	for lane := range next {
		for i := range w.c.State {
			next[lane] = append(next[lane], m.State(i).Lane(lane))
		}
	}
	return next
}

// trial takes copies of the chip to each of up to 64 levels, one a lane. They are there
// until the next trial.
func (w *walker) trial(to []part.Pins) *logic.Machine {
	if w.trials == nil {
		w.trials = w.c.NewMachine()
	}
	m := w.trials
	w.copyTo(m, nil)
	for _, pin := range w.c.InputPins {
		level := logic.Splat(w.level(pin))
		for lane, drive := range to {
			if drive.Has(pin) != w.drive.Has(pin) {
				level = level.With(lane, logic.FromBool(drive.Has(pin)))
			}
		}
		m.Set(pin, level)
	}
	m.Settle()
	return m
}
