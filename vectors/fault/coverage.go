package fault

import (
	"fmt"
	"sync"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A Coverage says what a sequence proves of a part, in numbers.
type Coverage struct {
	Part         string
	Steps        int
	Method       string
	Classes      int      // of stuck-at faults
	Detectable   int      // those that are not proven undetectable
	Detected     int      // classes
	Undetectable []string // proven: no legal stimulus shows them
	Missed       []string // detectable, or not decided, and not detected
	PinFaults    int
	PinsDetected int
	PinsMissed   []string
	Shorts       int
	ShortsFound  int
	Intruders    []string // numbers of parts that the sequence does not tell from this one
}

// Percent is the coverage of stuck-at faults, detected classes over detectable
// ones, rounded toward zero as MIL-STD-883 method 5012 asks.
func (c Coverage) Percent() int {
	if c.Detectable == 0 {
		return 0
	}
	return 100 * c.Detected / c.Detectable
}

// Statement is the coverage in the words of the method, with its limits.
func (c Coverage) Statement() string {
	return fmt.Sprintf("fault coverage %d%%: %d of %d detectable equivalence classes of single stuck-at faults (%d classes, %d undetectable), "+
		"by simulation of the logic model after MIL-STD-883 method 5012, no penalty for signatures; measured on the data sheet's logic, not on the die",
		c.Percent(), c.Detected, c.Detectable, c.Classes, c.Classes-c.Detectable)
}

// Cover measures what a sequence detects in one family of a part. The others
// are the parts that may lie in the socket instead.
func Cover(c *logic.Circuit, f *part.Family, s *stimulus.Sequence, others []*logic.Circuit) Coverage {
	m := NewModel(c)
	r := Coverage{Part: c.Variant.Part.Number, Steps: len(s.Steps), Method: s.Method, Classes: len(m.Classes)}
	prove := sync.OnceValue(func() *prover { return newProver(m, c, s) })
	for i, d := range m.Detected(s) {
		switch {
		case d:
			r.Detected++
		case prove().undetectable(m.Classes[i]):
			r.Undetectable = append(r.Undetectable, m.Name(m.Classes[i][0]))
		default:
			r.Missed = append(r.Missed, m.Name(m.Classes[i][0]))
		}
	}
	r.Detectable = r.Classes - len(r.Undetectable)
	faults := PinFaults(c.Variant)
	for i, d := range DetectedPins(c, f, s, faults) {
		total, found := &r.PinFaults, &r.PinsDetected
		if faults[i].Kind == Short {
			total, found = &r.Shorts, &r.ShortsFound
		}
		*total++
		if d {
			*found++
		} else if faults[i].Kind != Short {
			r.PinsMissed = append(r.PinsMissed, faults[i].In(c.Variant))
		}
	}
	r.Intruders = intruders(c, s, others)
	return r
}

// intruders lists the parts that would answer every step as this one does.
func intruders(c *logic.Circuit, s *stimulus.Sequence, others []*logic.Circuit) []string {
	numbers := []string{}
	for _, o := range others {
		number := o.Variant.Part.Number
		if number == c.Variant.Part.Number || len(numbers) > 0 && numbers[len(numbers)-1] == number {
			continue
		}
		if sameSupply(c.Variant, o.Variant) && passes(o, s) {
			numbers = append(numbers, number)
		}
	}
	return numbers
}

func sameSupply(a, b *part.Variant) bool {
	return len(a.Pins) == len(b.Pins) && a.VCC() == b.VCC() && a.GND() == b.GND()
}

// passes tells whether a part, from some state at power-up, shows nothing wrong
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
