// Package fault models what can be wrong with a chip, simulates it on a
// sequence of steps, and finds the cause that explains what was observed. The
// terms are those of MIL-STD-883 method 5012: a defect is physical, a fault is
// its logical model, an error is a wrong value at a pin.
package fault

import (
	"fmt"

	"chipassay/vectors/part"
)

// A Kind is a kind of pin fault.
type Kind uint8

// The pin faults.
const (
	StuckLow   Kind = iota // the pin is low whatever happens
	StuckHigh              // the pin is high whatever happens
	Open                   // no contact between pin and die
	NoPullUp               // an output that cannot go high
	NoPullDown             // an output that cannot go low
	Short                  // two pins joined
	Unpowered              // a supply pin without contact
)

func (k Kind) String() string {
	return [...]string{"is stuck low", "is stuck high", "acts as if not connected", "never pulls high", "never pulls low", "is shorted", "has no contact"}[k]
}

// A Fault is a single pin fault.
type Fault struct {
	Kind  Kind `json:"kind"`
	Pin   int  `json:"pin"`
	Other int  `json:"other,omitempty"` // the second pin of a Short
}

// Pins gives the pins that the fault is about.
func (f Fault) Pins() part.Pins {
	if f.Kind == Short {
		return part.PinSet(f.Pin, f.Other)
	}
	return part.PinSet(f.Pin)
}

// In says the fault in the bench's words, with the pins' names.
func (f Fault) In(v *part.Variant) string {
	pin := func(n int) string { return fmt.Sprintf("pin %d (%s)", n, v.Pins[n-1].Name) }
	switch f.Kind {
	case StuckLow:
		return pin(f.Pin) + " is stuck low"
	case StuckHigh:
		return pin(f.Pin) + " is stuck high"
	case Open:
		return pin(f.Pin) + " acts as if not connected: open bond wire or bad contact"
	case NoPullUp:
		return pin(f.Pin) + " never pulls high: its upper transistor is dead"
	case NoPullDown:
		return pin(f.Pin) + " never pulls low: its lower transistor is dead"
	case Short:
		return pin(f.Pin) + " and " + pin(f.Other) + " are shorted"
	}
	return "no supply reaches the chip: " + pin(f.Pin) + " has no contact"
}

// PinFaults lists the single pin faults of a variant in one family: every input
// and output stuck and open, outputs that have lost one transistor, supply pins
// without contact, and shorts between pins that neighbour each other or stand in
// one column.
func PinFaults(v *part.Variant) []Fault {
	var faults []Fault
	for _, p := range v.Pins {
		switch p.Role {
		case part.Supply, part.Ground:
			faults = append(faults, Fault{Kind: Unpowered, Pin: p.Number})
		case part.Input, part.Output, part.Bidirectional:
			if p.Untested == "" && p.Tied == part.NotTied && p.Opposite == 0 { // else the levels show them
				faults = append(faults, singleFaults(p)...)
			}
		}
	}
	return append(faults, Shorts(v)...)
}

func singleFaults(p part.Pin) []Fault {
	// an open bond wire is the commonest, so it is named first
	faults := []Fault{{Kind: Open, Pin: p.Number}, {Kind: StuckLow, Pin: p.Number}, {Kind: StuckHigh, Pin: p.Number}}
	if !p.Observable() {
		return faults
	}
	if p.Stage == part.TotemPole || p.Stage == part.ThreeState {
		faults = append(faults, Fault{Kind: NoPullUp, Pin: p.Number}, Fault{Kind: NoPullDown, Pin: p.Number})
	}
	return faults
}

// Shorts lists the pairs of signal pins of one column, neighbours first, and the
// shorts to a supply pin beside a pin are the stuck faults.
func Shorts(v *part.Variant) []Fault {
	var shorts []Fault
	signal := func(p part.Pin) bool {
		return (p.Role == part.Input || p.Role == part.Output || p.Role == part.Bidirectional) && p.Tied == part.NotTied && p.Untested == ""
	}
	half := len(v.Pins) / 2
	for distance := 1; distance < half; distance++ {
		for i := range v.Pins {
			j := i + distance
			if j >= len(v.Pins) || i < half != (j < half) || !signal(v.Pins[i]) || !signal(v.Pins[j]) {
				continue
			}
			shorts = append(shorts, Fault{Kind: Short, Pin: i + 1, Other: j + 1})
		}
	}
	return shorts
}
