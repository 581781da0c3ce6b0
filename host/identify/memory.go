package identify

import (
	"cmp"
	"context"
	"math/rand/v2"
	"slices"

	"chipassay/host/probe"
	"chipassay/vectors/logic"
	"chipassay/vectors/match"
	"chipassay/vectors/part"
)

// measure looks for memory, and measures the table where it sees none. Open pins are those
// without contact.
func measure(ctx context.Context, w *probe.Walker, open part.Pins, p Plan) (*Table, error) {
	m := memory{walker: w, most: cmp.Or(p.MemorySteps, DefaultMemorySteps), open: open,
		seen: map[held]match.Step{}, moving: map[held]part.Pins{}, proven: map[held]part.Pins{}}
	if err := m.fix(ctx, p.Fixed); err != nil {
		return nil, err
	}
	if _, err := m.flip(ctx); err != nil {
		return nil, err
	}
	t := &Table{Inputs: slices.Collect(m.inputs().All())}
	if err := m.look(ctx, rand.New(rand.NewPCG(p.Seed, 2))); err != nil {
		return t, err
	}
	t.Steps, t.Remembers = m.steps, m.remembers()
	t.Outputs = slices.Collect(w.Record().Outputs.All())
	if t.Remembers || len(t.Outputs) == 0 || len(t.Inputs) > mostInputs || len(t.Inputs) == 0 {
		return t, nil
	}
	if err := t.fill(ctx, w); err != nil || p.Fixed == 0 {
		return t, err
	}
	t.dropReleased()
	return t, nil
}

// memory is a search for outputs that are not a function of the inputs alone.
type memory struct {
	walker *probe.Walker
	open   part.Pins // without contact
	fixed  part.Pins // that stay high
	most   int       // steps to look through
	steps  int
	read   int // steps of the record that were read
	seen   map[held]match.Step
	// proven are pins that had another level there before and stand still now.
	proven map[held]part.Pins
	last   [part.MaxPins + 1]logic.Value
	// moving are pins that changed there though no input did: they prove nothing.
	moving map[held]part.Pins
}

// held are the pins held low and those held high.
type held struct{ low, high part.Pins }

// A contradiction are pins that had another level before with the same pins held.
type contradiction struct {
	at   held
	pins part.Pins
}

// contradictions is at how many combinations of the inputs the outputs must have changed for
// memory to be seen: a single one may be a misreading.
const contradictions = 2

// fix holds pins high from here on. What was seen before, while they changed, is not compared.
func (m *memory) fix(ctx context.Context, pins part.Pins) error {
	if pins == 0 {
		return nil
	}
	_, low := m.walker.Held()
	if err := m.walker.Flip(ctx, slices.Collect((low & pins).All())...); err != nil {
		return err
	}
	r := m.walker.Record()
	m.fixed, m.read = pins, max(0, len(r.Steps)-1-r.Signals().Len())
	return nil
}

// inputs are the pins that are held, never drove, and may change.
func (m *memory) inputs() part.Pins {
	held, _ := m.walker.Held()
	return held &^ m.walker.Record().Outputs &^ m.fixed
}

func (m *memory) remembers() bool {
	n := 0
	for at, pins := range m.proven {
		if pins&^m.moving[at] != 0 {
			n++
		}
	}
	return n >= contradictions
}

// over reports whether memory was seen, or looked for long enough.
func (m *memory) over() bool { return m.remembers() || m.steps >= m.most }

// pins are those that are changed.
func (m *memory) pins() []int {
	held, _ := m.walker.Held()
	return slices.Collect((held &^ m.open &^ m.fixed).All())
}

// look looks around one combination of the inputs after the other, until the search is over:
// by turns one in which a single input differs from all others, and one at random. Where there
// are few inputs, bursts of pulses follow the first combinations; else some pulses of each input
// follow each at random, which shift a bit through eight stages.
func (m *memory) look(ctx context.Context, random *rand.Rand) error {
	for n := 0; !m.over(); n++ {
		pins := m.pins()
		if len(pins) == 0 || n >= 1<<min(len(pins)+2, 14) && m.steps >= leastMemorySteps {
			return nil
		}
		high, backwards := lone(pins, n/2), n/2/(2*len(pins)+2)%2 == 1
		if n%2 == 1 {
			high, backwards = part.Pins(random.Uint64())&part.PinSet(pins...), random.IntN(2) == 0
		}
		if err := m.around(ctx, high, backwards); err != nil {
			return err
		}
		switch few := m.few(len(m.pins())); {
		case few && n == 2*(len(pins)+1):
			if err := m.bursts(ctx); err != nil {
				return err
			}
		case !few && n%2 == 1:
			if err := m.pulses(ctx); err != nil {
				return err
			}
		}
	}
	return nil
}

// lone counts through the combinations in which no pin or one is high, then those in which none
// or one is low.
func lone(pins []int, n int) (high part.Pins) {
	n %= 2*len(pins) + 2
	if i := n % (len(pins) + 1); i > 0 {
		high = part.PinSet(pins[i-1])
	}
	if n > len(pins) {
		high ^= part.PinSet(pins...)
	}
	return high
}

// around flips each pin there and back from a combination of the inputs. Where that changed an
// output, it also flips a pin, a second one there and back, and the first back, for all pairs.
// Backwards, the pins come in the other order.
func (m *memory) around(ctx context.Context, high part.Pins, backwards bool) error {
	if err := m.to(ctx, high); err != nil {
		return err
	}
	pins := m.pins()
	if backwards {
		slices.Reverse(pins)
	}
	var singles []int
	for _, pin := range pins {
		singles = append(singles, pin, pin)
	}
	answers, err := m.flip(ctx, singles...)
	if err != nil {
		return err
	}
	for i, first := range pins {
		if !answers || m.over() {
			break
		}
		var flips []int
		for _, second := range pins[:i] {
			flips = append(flips, first, second, second, first)
		}
		if _, err := m.flip(ctx, append(flips, first, first)...); err != nil {
			return err
		}
	}
	return nil
}

// to goes to a combination of the inputs.
func (m *memory) to(ctx context.Context, high part.Pins) error {
	_, low := m.walker.Held()
	var way []int
	for _, pin := range m.pins() {
		if low.Has(pin) == high.Has(pin) {
			way = append(way, pin)
		}
	}
	_, err := m.flip(ctx, way...)
	return err
}

// A burst takes a counter whose eighth stage is the first to be seen through half a period of
// it, 128 pulses. Bursts may take burstShare of all steps.
const (
	burst      = 132 // pulses
	burstShare = 0.75
)

// few reports whether so many inputs leave time for bursts.
func (m *memory) few(inputs int) bool {
	return float64(inputs*inputs*2*burst) <= burstShare*float64(m.most)
}

// pulses pulses each pin from the combination at hand.
func (m *memory) pulses(ctx context.Context) error {
	for _, pin := range m.pins() {
		if m.over() {
			break
		}
		if _, err := m.flip(ctx, slices.Repeat([]int{pin}, 2*perLook)...); err != nil {
			return err
		}
	}
	return nil
}

// bursts pulses each pin while all others are low, and while one other is high.
func (m *memory) bursts(ctx context.Context) error {
	pins := m.pins()
	for n := range len(pins) + 1 {
		high := lone(pins, n)
		if err := m.to(ctx, high); err != nil {
			return err
		}
		for _, pin := range pins {
			if high.Has(pin) {
				continue
			}
			for range burst / perLook {
				if m.over() {
					return nil
				}
				if _, err := m.flip(ctx, slices.Repeat([]int{pin}, 2*perLook)...); err != nil {
					return err
				}
			}
		}
	}
	return nil
}

// perLook is how many pulses of a burst are compared at a time.
const perLook = 12

// flip changes pins one after the other, and reports whether an output answered. Where the chip
// seems to remember, it is brought to that combination again: an undefined output does not stand
// still there.
func (m *memory) flip(ctx context.Context, pins ...int) (answers bool, err error) {
	if err := m.walker.Flip(ctx, pins...); err != nil {
		return false, err
	}
	answers, differing := m.compare()
	for _, d := range differing {
		held, low := m.walker.Held()
		way := slices.Collect(((low ^ d.at.low) & held).All())
		if err := m.walker.Flip(ctx, way...); err != nil {
			return answers, err
		}
		if err := m.walker.Stay(ctx, staying); err != nil {
			return answers, err
		}
		if m.compare(); d.at == m.now() {
			m.proven[d.at] |= d.pins
		}
	}
	return answers, nil
}

// now are the pins that are held now.
func (m *memory) now() held {
	pins, low := m.walker.Held()
	return held{low, pins &^ low}
}

// returns is how many combinations a chip that seems to remember is brought to again, and staying
// how often it is read there: a random level stands still once in 10 million times.
const (
	returns = 4
	staying = 24
)

// compare compares the new steps with earlier ones that had the same pins held. It reports
// whether an output changed within the new ones, and gives a few that contradict earlier ones.
func (m *memory) compare() (answers bool, differing []contradiction) {
	r := m.walker.Record()
	all := r.Steps[min(1+r.Signals().Len(), len(r.Steps)):]
	var last held
	for i, s := range all[min(m.read, len(all)):] {
		m.steps++
		at, open := held{s.Low, s.High}, r.Signals()&^s.Low&^s.High
		if open&^r.Outputs != 0 { // what the chip takes an open input for is not known
			last = held{}
			continue
		}
		before, known := m.seen[at]
		other := part.Pins(0)
		for pin := range open.All() {
			v, was := s.Read(pin), before.Read(pin)
			other = other.With(pin, known && v != was && v != logic.X && was != logic.X)
			answers = answers || i > 0 && v != m.last[pin]
			m.last[pin] = v
		}
		switch {
		case other&^m.moving[at] == 0:
		case i > 0 && at == last: // no input changed
			m.moving[at] |= other
		case len(differing) < returns:
			differing = append(differing, contradiction{at, other})
		}
		m.seen[at], last = s, at
	}
	m.read = len(all)
	return answers, differing
}
