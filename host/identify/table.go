package identify

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"

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
	Equations []Equation // an output each; nil without rows
}

// An Equation is a minimal expression of an output.
type Equation struct {
	Pin        int
	Expression string // in the language of the part definitions: "!(P1 & P2)"
	Stage      part.Stage
	Enable     string // where a three-state output drives; empty for the other stages
}

const (
	// mostInputs is how many inputs a table is measured for.
	mostInputs = twolevel.MaxInputs
	// mostMemorySteps is how long memory is looked for.
	mostMemorySteps = 20_000
	// contradictions are so many combinations of the inputs at which the outputs were
	// otherwise before, that it is no reading gone wrong.
	contradictions = 2
)

// unknown measures what a chip does that no part explains.
func (a *Answer) unknown(ctx context.Context, s stranger, limitMA int) (err error) {
	defer func() { err = errors.Join(err, assay.Safe(ctx, s.seat)) }()
	if _, err := s.seat.PowerOn(ctx, limitMA); err != nil {
		return err
	}
	w, err := probe.Begin(ctx, s.seat, s.place.Seat)
	if err != nil {
		return err
	}
	if err := w.Regular(ctx); err != nil {
		return err
	}
	t, err := measure(ctx, w, a.plan.Seed)
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
func measure(ctx context.Context, w *probe.Walker, seed uint64) (*Table, error) {
	m := memory{walker: w, seen: map[part.Pins]match.Step{}}
	m.inputs()
	t := &Table{Inputs: slices.Collect(m.in.All()), Outputs: slices.Collect(w.Record().Outputs.All())}
	if err := m.look(ctx, seed); err != nil {
		return t, err
	}
	t.Steps, t.Remembers = m.steps, m.remembers()
	t.Outputs = slices.Collect(w.Record().Outputs.All())
	if t.Remembers || len(t.Outputs) == 0 || len(t.Inputs) > mostInputs || len(t.Inputs) == 0 {
		return t, nil
	}
	return t, t.fill(ctx, m)
}

// memory is a search for outputs that are not a function of the inputs alone.
type memory struct {
	walker *probe.Walker
	in     part.Pins
	steps  int
	read   int // steps of the record that were read
	seen   map[part.Pins]match.Step
	wrong  map[part.Pins]bool
}

// inputs are the pins that are held and never drove.
func (m *memory) inputs() {
	held, _ := m.walker.Held()
	m.in = held &^ m.walker.Record().Outputs
	m.wrong = map[part.Pins]bool{}
	m.compare()
}

func (m *memory) remembers() bool { return len(m.wrong) >= contradictions }

// look flips a pin, a second one there and back, and the first back, for all pairs, from
// one base after the other, until memory is seen or all of them were tried from every base.
func (m *memory) look(ctx context.Context, seed uint64) error {
	pins := slices.Collect(m.in.All())
	random := rand.New(rand.NewPCG(seed, 2))
	bases := 1 << min(len(pins), 10)
	for base := 0; base < bases && m.steps < mostMemorySteps && !m.remembers(); base++ {
		for i, first := range pins {
			var flips []int
			for _, second := range pins[:i] {
				flips = append(flips, first, second, second, first)
			}
			if err := m.flip(ctx, append(flips, first, first)...); err != nil {
				return err
			}
			if m.remembers() {
				return nil
			}
		}
		for _, pin := range pins {
			if random.IntN(2) == 0 {
				if err := m.flip(ctx, pin); err != nil {
					return err
				}
			}
		}
	}
	return nil
}

func (m *memory) flip(ctx context.Context, pins ...int) error {
	err := m.walker.Flip(ctx, pins...)
	m.compare()
	return err
}

// compare holds the new steps against those with the same inputs before.
func (m *memory) compare() {
	r := m.walker.Record()
	all := r.Steps[min(1+r.Signals().Len(), len(r.Steps)):]
	for _, s := range all[min(m.read, len(all)):] {
		if (s.Low|s.High)&m.in != m.in {
			continue
		}
		m.steps++
		at := s.High & m.in
		before, known := m.seen[at]
		if !known {
			m.seen[at] = s
			continue
		}
		for pin := range (r.Signals() &^ s.Low &^ s.High &^ before.Low &^ before.High).All() {
			if v, was := s.Read(pin), before.Read(pin); v != was && v != logic.X && was != logic.X {
				m.wrong[at] = true
			}
		}
	}
	m.read = len(all)
}

// fill goes through all combinations of the inputs, one pin after the other (a Gray code).
func (t *Table) fill(ctx context.Context, m memory) error {
	rows := 1 << len(t.Inputs)
	t.Rows = make([][]logic.Value, rows)
	for n := 1; n <= rows; n++ {
		pin := t.Inputs[min(trailingZeros(n), len(t.Inputs)-1)]
		if err := m.walker.Flip(ctx, pin); err != nil {
			return err
		}
		if n%tableBatch == 0 || n == rows {
			m.compare()
		}
	}
	for at, s := range m.seen {
		row := 0
		for i, pin := range t.Inputs {
			if at.Has(pin) {
				row |= 1 << i
			}
		}
		for _, pin := range t.Outputs {
			t.Rows[row] = append(t.Rows[row], s.Read(pin))
		}
	}
	if t.Remembers = m.remembers(); t.Remembers || slices.ContainsFunc(t.Rows, func(r []logic.Value) bool { return r == nil }) {
		t.Rows = nil
		return nil
	}
	for i, pin := range t.Outputs {
		t.Equations = append(t.Equations, t.equation(i, pin))
	}
	return nil
}

// tableBatch is after how many rows the readings are compared.
const tableBatch = 256

func trailingZeros(n int) (zeros int) {
	for ; n&1 == 0; n >>= 1 {
		zeros++
	}
	return zeros
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

// Definition is a part definition of what was measured, for the number that a person gives it.
func (t *Table) Definition(number, family string, seat probe.Seat) string {
	var b strings.Builder
	fmt.Fprintf(&b, "part %s \"measured, not from a data sheet\"\nkind gate\nfamilies %s\nsource \"measured in the socket: %d steps without memory seen\"\n\n",
		number, family, t.Steps)
	fmt.Fprintf(&b, "package DIP%d\n", seat.Pins)
	t.pinout(&b, seat)
	fmt.Fprintf(&b, "\ninputs %s\n", pinNames(t.Inputs))
	for _, stage := range []part.Stage{part.TotemPole, part.OpenCollector, part.OpenEmitter, part.ThreeState} {
		var pins []int
		for _, e := range t.Equations {
			if e.Stage == stage {
				pins = append(pins, e.Pin)
			}
		}
		switch {
		case len(pins) == 0:
		case stage == part.TotemPole:
			fmt.Fprintf(&b, "outputs %s\n", pinNames(pins))
		default:
			fmt.Fprintf(&b, "outputs %s %s\n", stage, pinNames(pins))
		}
	}
	b.WriteString("\n")
	for _, e := range t.Equations {
		if e.Enable != "" {
			fmt.Fprintf(&b, "P%d = %s ? %s : z\n", e.Pin, e.Enable, e.Expression)
		} else {
			fmt.Fprintf(&b, "P%d = %s\n", e.Pin, e.Expression)
		}
	}
	return b.String()
}

func pinNames(pins []int) string {
	var names []string
	for _, pin := range pins {
		names = append(names, fmt.Sprintf("P%d", pin))
	}
	return strings.Join(names, " ")
}

// pinout draws the package as definitions have it.
func (t *Table) pinout(b *strings.Builder, seat probe.Seat) {
	name := func(pin int) string {
		switch {
		case pin == seat.VCC:
			return "VCC"
		case pin == seat.GND:
			return "GND"
		case slices.Contains(t.Inputs, pin), slices.Contains(t.Outputs, pin):
			return fmt.Sprintf("P%d", pin)
		}
		return "NC"
	}
	for row := 1; row <= seat.Pins/2; row++ {
		middle := "|   |"
		if row == 1 {
			middle = "| U |"
		}
		right := seat.Pins + 1 - row
		fmt.Fprintf(b, "%8s %2d %s %-2d %s\n", name(row), row, middle, right, name(right))
	}
}
