package fault

import (
	"fmt"
	"math/rand/v2"
	"slices"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A Tally counts the faults of one model.
type Tally struct {
	Total        int      `json:"total"`
	Detectable   int      `json:"detectable"`       // those that are not proven undetectable
	Detected     int      `json:"detected"`         // of those
	Undetectable []string `json:"-"`                // proven: no legal stimulus shows them
	Missed       []string `json:"missed,omitempty"` // detectable, or not decided, and not detected
}

// Counts is the tally without the names of the faults.
func (t Tally) Counts() Tally {
	return Tally{Total: t.Total, Detectable: t.Detectable, Detected: t.Detected}
}

// count adds a fault, shown or not.
func (t *Tally) count(shown, undetectable bool, name func() string) {
	t.Total++
	switch {
	case shown:
		t.Detected++
	case undetectable:
		t.Undetectable = append(t.Undetectable, name())
	default:
		t.Missed = append(t.Missed, name())
	}
	t.Detectable = t.Total - len(t.Undetectable)
}

// Percent is detected over detectable faults, rounded toward zero as MIL-STD-883
// method 5012 asks; 100 where there are none.
func (t Tally) Percent() int {
	if t.Detectable == 0 {
		return 100
	}
	return 100 * t.Detected / t.Detectable
}

// A Coverage says what a sequence proves of a part, in numbers.
type Coverage struct {
	Part    string `json:"-"`
	Steps   int    `json:"-"`
	Method  string `json:"-"`
	StuckAt Tally  `json:"stuck_at"` // equivalence classes of stuck-at faults
	Cells   Tally  `json:"cell_faults"`
	Pins    Tally  `json:"pin_faults"` // of single pins
	Shorts  Tally  `json:"shorts"`     // found by the vectors, or by the test before power
	// ShortsByVectors are those that the vectors show by themselves.
	ShortsByVectors int       `json:"shorts_by_vectors"`
	Unseen          []Fault   `json:"unseen,omitempty"` // of single pins that no step shows
	Sections        []Section `json:"sections"`
	Intruders       []string  `json:"intruders,omitempty"` // numbers of parts that the sequence does not distinguish from this one
}

// Statement is the coverage of stuck-at faults in the words of the method, with its limits.
func (c Coverage) Statement() string {
	t := c.StuckAt
	return fmt.Sprintf("fault coverage %d%%: %d of %d detectable equivalence classes of single stuck-at faults (%d classes, %d undetectable), "+
		"by simulation of the logic model after MIL-STD-883 method 5012, no penalty for signatures; measured on the data sheet's logic, not on the die",
		t.Percent(), t.Detected, t.Detectable, t.Total, t.Total-t.Detectable)
}

// Cover counts what an examination found, but for the intruders.
func (x *Examination) Cover() Coverage {
	c, s, m := x.Circuit, x.Sequence, x.model
	r := Coverage{Part: c.Variant.Part.Number, Steps: len(s.Steps), Method: s.Method, Unseen: x.Unseen(), Sections: x.sections()}
	for i, e := range x.lines {
		r.StuckAt.count(e.Once > 0, x.lineProven[i], func() string { return m.Name(m.Classes[i][0]) })
	}
	for i, e := range x.cell {
		r.Cells.count(e.Once > 0, x.cellProven[i], func() string { return m.CellName(c, x.cells[i]) })
	}
	for i, e := range x.pin {
		f := x.pins[i]
		name := func() string { return f.In(c.Variant) }
		if f.Kind != Short {
			r.Pins.count(e.Once > 0, false, name)
			continue
		}
		if e.Once > 0 {
			r.ShortsByVectors++
		}
		r.Shorts.count(e.Once > 0 || !joinedInside(c, f), false, name)
	}
	return r
}

// joinedInside reports whether a switch inside joins two pins, so that what is shorted
// cannot be seen without supply: the one shows the other's level in some setting.
func joinedInside(c *logic.Circuit, f Fault) bool {
	return c.Variant.Part.Kind == "switch" && (follows(c, f.Pin, f.Other) || follows(c, f.Other, f.Pin))
}

// follows reports whether an output follows an input in some setting of the others, of
// many at random.
func follows(c *logic.Circuit, output, input int) bool {
	m := c.NewMachine()
	random := rand.New(rand.NewPCG(1, 7))
	for range 32 {
		for _, pin := range c.InputPins {
			high := random.Uint64()
			m.Set(pin, logic.Word{Hi: high, Lo: ^high})
		}
		m.Set(input, logic.Splat(logic.Zero))
		m.Settle()
		low := m.Out(output)
		m.Set(input, logic.Splat(logic.One))
		m.Settle()
		if high := m.Out(output); low.Lo&^low.Hi&high.Hi&^high.Lo != 0 {
			return true
		}
	}
	return false
}

// Intruders lists the numbers of the parts among others, its own too, that would
// answer every step as this one does. It keeps their order.
func Intruders(c *logic.Circuit, s *stimulus.Sequence, others []*logic.Circuit) []string {
	var numbers []string
	for _, o := range others {
		number := o.Variant.Part.Number
		if !slices.Contains(numbers, number) && sameSupply(c.Variant, o.Variant) && passes(o, s) {
			numbers = append(numbers, number)
		}
	}
	return numbers
}

func sameSupply(a, b *part.Variant) bool {
	return len(a.Pins) == len(b.Pins) && a.VCC() == b.VCC() && a.GND() == b.GND()
}

// passes reports whether a part, from some state at power-up, shows nothing wrong
// in any step of another part's test.
func passes(o *logic.Circuit, s *stimulus.Sequence) bool {
	m := o.NewMachine()
	m.PowerUp(1)
	alive := ^uint64(0)
	for _, st := range s.Steps {
		drive(m, o, st)
		for pin := range st.Compared.All() {
			v, _ := st.Expect(pin)
			alive &= agrees(m.Out(pin), v)
		}
		if alive == 0 {
			return false
		}
	}
	return true
}
