package identify

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math/bits"
	"math/rand/v2"
	"slices"

	"chipassay/host/assay"
	"chipassay/host/probe"
	"chipassay/vectors/logic"
	"chipassay/vectors/match"
	"chipassay/vectors/part"
	"chipassay/vectors/twolevel"
)

// A Table is what was measured of a chip that no part of the library explains.
type Table struct {
	Inputs, Outputs []int // pins, ascending
	// Remembers tells that the outputs are not a function of the inputs alone; then there
	// are no rows.
	Remembers bool
	Steps     int // in which no memory was seen, or after which it was
	// Rows are the outputs' levels for each combination of the inputs; input i is at bit i of
	// the row's number. Nil where there are more than 16 inputs.
	Rows      [][]logic.Value
	Idle      []int      // inputs that no output depends on: of no use, or not connected
	Equations []Equation // an output each; nil without rows
}

// An Equation is a minimal expression of an output.
type Equation struct {
	Pin        int
	Expression string // in the language of the part definitions: "!(P1 & P2)"
	Stage      part.Stage
	Enable     string // where a three-state output drives; empty for the other stages
}

// DefaultMemorySteps is how long memory is looked for in a chip that no part explains.
const DefaultMemorySteps = 20_000

const (
	// mostInputs is how many inputs a table is measured for.
	mostInputs = twolevel.MaxInputs
	// leastMemorySteps are looked through also where there are few inputs: a divider shows
	// its memory late.
	leastMemorySteps = 2_000
	// contradictions are so many combinations of the inputs at which the outputs were
	// otherwise before, that it is no reading gone wrong.
	contradictions = 2
)

// unknown measures what a chip does that no part explains.
func (a *Answer) unknown(ctx context.Context, s *stranger) (err error) {
	began := s.seat.Spent()
	defer func() {
		err = errors.Join(err, assay.Safe(ctx, s.seat))
		a.Probing += s.seat.Spent() - began
	}()
	if _, err := s.seat.PowerOn(ctx, limitsMA[s.limit]); err != nil {
		return err
	}
	w, err := probe.Begin(ctx, s.seat, s.place.Seat)
	if err != nil {
		return err
	}
	if err := w.Regular(ctx, pulses); err != nil {
		return err
	}
	t, err := measure(ctx, w, a.plan)
	a.Steps += len(w.Record().Steps)
	a.Table = t
	switch {
	case err != nil || t == nil:
	case t.Remembers:
		a.Reason = fmt.Sprintf("no part of the library explains it; it remembers, as was seen after %d steps", t.Steps)
	case len(t.Outputs) == 0:
		a.Reason = "no part of the library explains it; none of its pins drives: it may be dead"
	case t.Rows == nil:
		a.Reason = fmt.Sprintf("no part of the library explains it; no memory was seen in %d steps, and %d inputs are too many for a table", t.Steps, len(t.Inputs))
	default:
		a.Reason = fmt.Sprintf("no part of the library explains it; no memory was seen in %d steps, and its function was measured", t.Steps)
	}
	return err
}

// measure looks for memory, and measures the table where it sees none.
func measure(ctx context.Context, w *probe.Walker, p Plan) (*Table, error) {
	m := memory{walker: w, most: cmp.Or(p.MemorySteps, DefaultMemorySteps), seen: map[held]match.Step{}, proven: map[held]part.Pins{}}
	if _, err := m.flip(ctx); err != nil {
		return nil, err
	}
	t := &Table{Inputs: slices.Collect(m.inputs().All())}
	if err := m.look(ctx, p.Seed); err != nil {
		return t, err
	}
	t.Steps, t.Remembers = m.steps, m.remembers()
	t.Outputs = slices.Collect(w.Record().Outputs.All())
	if t.Remembers || len(t.Outputs) == 0 || len(t.Inputs) > mostInputs || len(t.Inputs) == 0 {
		return t, nil
	}
	return t, t.fill(ctx, w)
}

// memory is a search for outputs that are not a function of the inputs alone.
type memory struct {
	walker *probe.Walker
	most   int // steps to look through
	steps  int
	read   int // steps of the record that were read
	seen   map[held]match.Step
	// proven are the pins that were otherwise before and stand still now.
	proven map[held]part.Pins
	last   [part.MaxPins + 1]logic.Value
	// unsteady are pins that read otherwise though nothing changed: they tell nothing.
	unsteady part.Pins
}

// A contradiction are pins that were otherwise before with the same pins held.
type contradiction struct {
	at   held
	pins part.Pins
}

// held are the pins that are held low and those held high.
type held struct{ low, high part.Pins }

// inputs are the pins that are held and never drove.
func (m *memory) inputs() part.Pins {
	held, _ := m.walker.Held()
	return held &^ m.walker.Record().Outputs
}

func (m *memory) remembers() bool {
	n := 0
	for _, pins := range m.proven {
		if pins&^m.unsteady != 0 {
			n++
		}
	}
	return n >= contradictions
}

// look flips each pin there and back and, where that changed an output, a pin, a second one
// there and back, and the first back, for all pairs; so from one base after the other, until
// memory is seen or it was looked for long enough.
func (m *memory) look(ctx context.Context, seed uint64) error {
	random := rand.New(rand.NewPCG(seed, 2))
	for base := 0; m.steps < m.most && !m.remembers(); base++ {
		now, _ := m.walker.Held()
		pins := slices.Collect(now.All())
		if len(pins) == 0 || base >= 1<<min(len(pins), 12) && m.steps >= leastMemorySteps {
			return nil
		}
		var singles, way []int
		for _, pin := range pins {
			singles = append(singles, pin, pin)
			if random.IntN(2) == 0 {
				way = append(way, pin)
			}
		}
		answers, err := m.flip(ctx, singles...)
		if err != nil {
			return err
		}
		for i, first := range pins {
			var flips []int
			for _, second := range pins[:i] {
				flips = append(flips, first, second, second, first)
			}
			if !answers || m.remembers() {
				break
			}
			if _, err := m.flip(ctx, append(flips, first, first)...); err != nil {
				return err
			}
		}
		if _, err := m.flip(ctx, way...); err != nil {
			return err
		}
	}
	return nil
}

// flip changes pins one after the other, and reports whether an output answered. What
// seems to remember is brought there again: a pin that nothing decides does not stand still.
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

// returns is to how many of the combinations a chip is brought again that seems to remember,
// and staying how often it is read there.
const (
	returns = 4
	staying = 8
)

// compare holds the new steps against those with the same pins held before. It reports
// whether an output changed within them, and a few that were otherwise before.
func (m *memory) compare() (answers bool, differing []contradiction) {
	r := m.walker.Record()
	all := r.Steps[min(1+r.Signals().Len(), len(r.Steps)):]
	var last held
	for i, s := range all[min(m.read, len(all)):] {
		m.steps++
		at, open := held{s.Low, s.High}, r.Signals()&^s.Low&^s.High
		if open&^r.Outputs != 0 { // what the chip takes such a pin for is not known
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
		case other&^m.unsteady == 0:
		case i > 0 && at == last: // nothing was changed
			m.unsteady |= other
		default:
			if len(differing) < returns {
				differing = append(differing, contradiction{at, other})
			}
		}
		m.seen[at], last = s, at
	}
	m.read = len(all)
	return answers, differing
}

// fill goes through all combinations of the inputs, one pin after the other (a Gray code).
func (t *Table) fill(ctx context.Context, w *probe.Walker) error {
	w.Release(part.PinSet(t.Outputs...))
	if err := w.Stay(ctx, 1); err != nil {
		return err
	}
	rows := 1 << len(t.Inputs)
	t.Rows = make([][]logic.Value, rows)
	from := len(w.Record().Steps)
	for n := 1; n <= rows; n++ {
		pin := t.Inputs[min(bits.TrailingZeros(uint(n)), len(t.Inputs)-1)]
		if err := w.Flip(ctx, pin); err != nil {
			return err
		}
	}
	all := part.PinSet(t.Inputs...)
	for _, s := range w.Record().Steps[from:] {
		if (s.Low|s.High)&all != all {
			continue
		}
		row := 0
		for i, pin := range t.Inputs {
			if s.High.Has(pin) {
				row |= 1 << i
			}
		}
		t.Rows[row] = nil
		for _, pin := range t.Outputs {
			t.Rows[row] = append(t.Rows[row], s.Read(pin))
		}
	}
	if slices.ContainsFunc(t.Rows, func(r []logic.Value) bool { return r == nil }) {
		t.Rows = nil
		return nil
	}
	for i, pin := range t.Outputs {
		t.Equations = append(t.Equations, t.equation(i, pin))
	}
	for i, pin := range t.Inputs {
		if !t.dependsOn(i) {
			t.Idle = append(t.Idle, pin)
		}
	}
	return nil
}

// dependsOn reports whether an output depends on an input, in some row.
func (t *Table) dependsOn(input int) bool {
	for row, levels := range t.Rows {
		if !slices.Equal(levels, t.Rows[row^1<<input]) {
			return true
		}
	}
	return false
}

// equation is the minimal expression of an output.
func (t *Table) equation(i, pin int) Equation {
	var names []string
	for _, in := range t.Inputs {
		names = append(names, fmt.Sprintf("P%d", in))
	}
	shows := func(v logic.Value) bool {
		return slices.ContainsFunc(t.Rows, func(row []logic.Value) bool { return row[i] == v })
	}
	e := Equation{Pin: pin, Stage: part.TotemPole}
	switch low, high := shows(logic.Zero), shows(logic.One); {
	case !shows(logic.Z):
	case low && high:
		e.Stage = part.ThreeState
	case high:
		e.Stage = part.OpenEmitter
	default:
		e.Stage = part.OpenCollector
	}
	level := func(row int) twolevel.Level {
		switch v := t.Rows[row][i]; {
		case v == logic.Z && e.Stage == part.ThreeState, v == logic.X:
			return twolevel.Either
		case v == logic.One, v == logic.Z && e.Stage == part.OpenCollector:
			return twolevel.High
		}
		return twolevel.Low
	}
	e.Expression = twolevel.Express(twolevel.Of(len(t.Inputs), level)).In(names)
	if e.Stage == part.ThreeState {
		drives := func(row int) twolevel.Level {
			if t.Rows[row][i] == logic.Z {
				return twolevel.Low
			}
			return twolevel.High
		}
		e.Enable = twolevel.Express(twolevel.Of(len(t.Inputs), drives)).In(names)
	}
	return e
}
