package part

import (
	"slices"
	"strconv"
)

// MaxSteps is how many steps the sequences of a part have at most, repetitions
// counted.
const MaxSteps = 400_000

// A Sequence is a test of the part that its data sheet prints, or that an engineer
// worked out: steps that are applied before any that the program finds by itself.
type Sequence struct {
	Name string
	Rows []SequenceRow

	inherited int
}

// A SequenceRow is steps that are taken one after the other, Times times.
type SequenceRow struct {
	Times int
	Steps []Levels
	Line  int
	Text  string // as written: "repeat 255 IN2 = 1, IN2 = 0"
}

// Levels are levels that pins take in one step; all others stay.
type Levels struct{ Low, High Pins }

// Over gives the levels of all pins after the step, from those before it.
func (l Levels) Over(levels Pins) Pins { return levels&^l.Low | l.High }

// sequenceUsage says how a sequence is written.
const sequenceUsage = "write sequence \"its name and source\", then lines such as step R=1 IN=0, or repeat 255 IN=1, IN=0"

// sequence reads a sequence with its rows. One with the name of an inherited one
// takes its place.
func (b *builder) sequence(s *scope, st statement, logic *Logic) error {
	l := st.line
	if len(l.tokens) != 2 || l.tokens[1].kind != quoted || len(st.rows) == 0 {
		return b.src.errorAt(l, 1, "%s", sequenceUsage)
	}
	if len(logic.Registers) == 0 {
		return b.src.errorAt(l, 1, "the part remembers nothing: every combination is applied to it, and a sequence adds none")
	}
	seq := Sequence{Name: l.tokens[1].text, inherited: st.inherited}
	for _, row := range st.rows {
		r, err := b.sequenceRow(s, row)
		if err != nil {
			return err
		}
		seq.Rows = append(seq.Rows, r)
	}
	at := slices.IndexFunc(logic.Sequences, func(q Sequence) bool { return q.Name == seq.Name })
	switch {
	case at < 0:
		logic.Sequences = append(logic.Sequences, seq)
	case logic.Sequences[at].inherited > seq.inherited:
		logic.Sequences[at] = seq
	default:
		return b.src.errorAt(l, l.tokens[1].col, "two sequences have this name")
	}
	total := 0
	for _, q := range logic.Sequences {
		for _, r := range q.Rows {
			total += r.Times * len(r.Steps)
		}
	}
	if total > MaxSteps {
		return b.src.errorAt(l, 1, "the sequences of the part have %d steps, more than %d", total, MaxSteps)
	}
	return nil
}

// sequenceRow reads step NAME=LEVEL …, or repeat N NAME=LEVEL …, with a comma
// between steps.
func (b *builder) sequenceRow(s *scope, l line) (SequenceRow, error) {
	r := SequenceRow{Times: 1, Line: l.number, Text: l.written(), Steps: make([]Levels, 1)}
	i := 1
	if l.tokens[0].text == "repeat" {
		n := 0
		if len(l.tokens) > 1 {
			n, _ = strconv.Atoi(l.tokens[1].text)
		}
		if n < 1 || n > MaxSteps {
			return r, b.src.errorAt(l, l.tokens[min(1, len(l.tokens)-1)].col, "write how often, from 1 to %d: repeat 255 IN=1, IN=0", MaxSteps)
		}
		r.Times, i = n, 2
	}
	for ; ; i++ {
		if i+2 >= len(l.tokens) || l.tokens[i+1].text != "=" {
			return r, b.src.errorAt(l, l.tokens[min(i, len(l.tokens)-1)].col, "write the level that each pin takes: R=1 IN=0")
		}
		if err := b.levels(s, l, i, &r.Steps[len(r.Steps)-1]); err != nil {
			return r, err
		}
		if i += 3; i == len(l.tokens) {
			return r, nil
		}
		if l.tokens[i].text == "," {
			r.Steps = append(r.Steps, Levels{})
		} else {
			i--
		}
	}
}

// levels reads NAME=LEVEL at token i: a pin that the adapter drives, or a bus of
// such pins with a number.
func (b *builder) levels(s *scope, l line, i int, to *Levels) error {
	name, value := l.tokens[i], l.tokens[i+2]
	bits := s.named[name.text]
	if len(bits) == 0 {
		return b.src.errorAt(l, name.col, "there is no pin or bus %s", name.text)
	}
	n, ok := literal(value.text)
	for _, bit := range n.Bits {
		ok = ok && (bit == '0' || bit == '1')
	}
	if !ok || len(n.Bits) > len(bits) {
		return b.src.errorAt(l, value.col, "%s is no level of %s: %s", value.text, name.text, levelUsage(len(bits)))
	}
	for k, signal := range bits {
		p := b.v.pinOf(s.signals[signal])
		if p == nil || p.Role != Input && p.Role != Bidirectional || p.Tied != NotTied || p.Untested != "" {
			return b.src.errorAt(l, name.col, "%s cannot be driven: a sequence sets inputs and bidirectional pins that are neither tied nor left out", s.signals[signal].Name)
		}
		if (to.Low | to.High).Has(p.Number) {
			return b.src.errorAt(l, name.col, "%s gets its level twice in one step: put a comma between steps", p.Name)
		}
		if at := k - (len(bits) - len(n.Bits)); at >= 0 && n.Bits[at] == '1' {
			to.High = to.High.With(p.Number, true)
		} else {
			to.Low = to.Low.With(p.Number, true)
		}
	}
	return nil
}

func levelUsage(bits int) string {
	if bits == 1 {
		return "write 0 or 1"
	}
	return "write a number of " + strconv.Itoa(bits) + " bits at most"
}

// pinOf gives the pin of a signal, or nil for an inner one.
func (v *Variant) pinOf(s Signal) *Pin {
	if s.Pin == 0 {
		return nil
	}
	return &v.Pins[s.Pin-1]
}
