package tied

import (
	"fmt"
	"slices"

	"chipassay/vectors/part"
)

// pullOhms is the resistor that benches tie inputs with, Ω (common practice).
const pullOhms = 1_000

// An Advice says how a tie is best made in a family.
type Advice struct {
	Tie
	Family *part.Family
	// Ohms is the resistor, Ω; 0 for a wire. Volts is the level at the pin in the worst
	// case with it, and Margin how far that is on the right side of VIL or VIH.
	Ohms, Volts, Margin float64
	// Largest is the largest resistor that still makes the level, Ω, of the E12 values;
	// 0 for an input joined to another, and for a line receiver's, whose current is in no table.
	Largest float64
	// Neighbours are driven inputs that it may be joined to instead, with the same function.
	Neighbours []int
	Shared     int  // inputs that the resistor holds
	PullUp     bool // a resistor inside makes the level
}

// Advise says how each tie is best made in a family.
func (u *Use) Advise(f *part.Family) (all []Advice) {
	v := u.Circuit.Variant
	high, loads := 0, 0.0 // that one resistor makes
	for _, t := range u.Ties {
		if t.To == 0 && t.High {
			high, loads = high+1, loads+v.Pins[t.Pin-1].LoadIn(f)
		}
	}
	for i, t := range u.Ties {
		a := Advice{Tie: t, Family: f, PullUp: t.To == 0 && t.High && v.Pins[t.Pin-1].PullUp}
		load := v.Pins[t.Pin-1].LoadIn(f)
		switch {
		case t.To != 0:
		case t.High:
			a.Ohms, a.Shared = neededOhms(f), high
			if v.Pins[t.Pin-1].Receiver {
				a.Ohms = 0 // it stands the levels of its line
			}
			pull := part.PullUp(f, a.Ohms, loads)
			if !pull.Valid {
				a.Ohms = part.E12Below(pull.Largest)
				pull = part.PullUp(f, a.Ohms, loads)
			}
			a.Volts, a.Margin, a.Largest = pull.Volts, pull.Volts-f.VIH, largest(pull, loads)
			a.Neighbours = u.neighbours(i)
		default:
			pull := part.PullDown(f, 0, load)
			a.Volts, a.Margin, a.Largest = 0, f.VIL, largest(pull, load)
			a.Neighbours = u.neighbours(i)
		}
		all = append(all, a)
	}
	return all
}

func largest(p part.Pull, loads float64) float64 {
	if loads == 0 {
		return 0
	}
	return part.E12Below(p.Largest)
}

// neededOhms is the resistor that an input wants between it and the supply. A
// multi-emitter input breaks down from 5.5 V on, as the diodes of DTL may, and the supply
// may go to 7 V; later diode inputs and gates of MOS transistors stand as much as the supply pin, and so does a timer's
// RESET, which goes to it.
//
// Source: absolute maximum ratings of the families' data books, from memory; NE555, SLFS022.
func neededOhms(f *part.Family) float64 {
	if slices.Contains([]part.Technology{part.TTL, part.DTL}, f.Technology) && slices.Contains(part.Families, f) {
		return pullOhms
	}
	return 0
}

// How says it in words.
func (a Advice) How() string {
	mos := !a.Family.Technology.Bipolar()
	text := "straight to ground"
	switch {
	case a.To != 0:
		return "together, from one output: their loads add up"
	case a.PullUp:
		return "open or to the supply: a pull-up is inside"
	case a.High && a.Ohms > 0:
		one := ""
		if a.Shared > 1 {
			one = "one "
		}
		text = fmt.Sprintf("to the supply through %s%s: %.2f V at least, %.2f V over VIH", one, part.Ohms(a.Ohms), a.Volts, a.Margin)
	case a.High:
		text = "straight to the supply"
	}
	if mos {
		text += ", never open"
	}
	return text
}

// neighbours are the free inputs that tie i may be joined to and every output that
// it bears on stays the same function.
func (u *Use) neighbours(i int) (pins []int) {
	var want []Output
	var candidates part.Pins
	for _, o := range u.Circuit.Outputs {
		if inputs, _ := u.untied().depends(o.Node); !inputs.Has(u.Ties[i].Pin) {
			continue
		}
		out := u.bare(o)
		if out.Kind != Combines {
			return nil
		}
		want = append(want, out)
		for _, pin := range out.Inputs {
			candidates = candidates.With(pin, true)
		}
	}
	for pin := range candidates.All() {
		ties := slices.Clone(u.Ties)
		ties[i] = Tie{Pin: ties[i].Pin, To: pin}
		other, err := Of(u.Circuit.Variant, ties)
		if err == nil && other.gives(want) {
			pins = append(pins, pin)
		}
	}
	sortByName(u.Circuit.Variant, pins)
	return pins
}

// gives tells whether outputs have the functions wanted.
func (u *Use) gives(want []Output) bool {
	for _, o := range u.Circuit.Outputs {
		i := slices.IndexFunc(want, func(w Output) bool { return w.Pin == o.Pin })
		if i < 0 {
			continue
		}
		got := u.bare(o)
		if got.Kind != Combines || !slices.Equal(got.levels, want[i].levels) || !slices.Equal(got.Inputs, want[i].Inputs) {
			return false
		}
	}
	return true
}
