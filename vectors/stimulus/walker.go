package stimulus

import (
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// A walker takes a good chip from step to step, starting from all unknown, and
// writes the sequence down. What the chip shows is compared wherever it is known.
type walker struct {
	c       *logic.Circuit
	m       *logic.Machine
	s       *Sequence
	drive   part.Pins      // levels of the driven pins
	floated part.Pins      // bidirectional pins left undriven although the chip releases them
	longest int            // pulses of a cycle that is run whole
	trials  *logic.Machine // of trial
}

func newWalker(c *logic.Circuit, s *Sequence) *walker {
	w := &walker{c: c, m: c.NewMachine(), s: s}
	for _, p := range c.Variant.Pins {
		if p.Tied == part.TiedHigh || p.Untested != "" && p.PullUp {
			w.drive = w.drive.With(p.Number, true)
		}
	}
	return w
}

// to drives the pins to new levels, settles and adds a step. Where the chip then
// drives pins that the adapter drives now, these are released in a step before:
// a latch that is open towards them would take in whatever they float to. Pins that were left
// undriven are driven in a step before what a register may take them in by.
func (w *walker) to(drive part.Pins) {
	if anew := w.anew(); anew != 0 && (w.drive^drive)&^anew != 0 {
		w.drive = w.drive&^anew | drive&anew
		w.settle()
		w.s.Steps = append(w.s.Steps, w.step())
	}
	if turning := w.turning(drive); turning != 0 {
		floated := w.floated
		w.floated |= turning
		w.settle()
		w.s.Steps = append(w.s.Steps, w.step())
		defer func() { w.floated = floated }()
	}
	w.drive = drive
	w.settle()
	w.s.Steps = append(w.s.Steps, w.step())
}

// anew gives the pins of a part that remembers which the chip releases and nothing drove in the last step, but the
// adapter is to drive now.
func (w *walker) anew() part.Pins {
	if len(w.c.Registers) == 0 || len(w.s.Steps) == 0 {
		return 0
	}
	return w.released() & w.s.Inputs &^ w.floated &^ w.s.Steps[len(w.s.Steps)-1].Driven
}

// turning gives the pins that the adapter drives now and the chip drives at other levels.
func (w *walker) turning(drive part.Pins) (pins part.Pins) {
	free := w.released() &^ w.floated
	if free == 0 {
		return 0
	}
	m := w.trial([]part.Pins{drive})
	for pin := range free.All() {
		pins = pins.With(pin, m.Out(pin).Lane(0) != logic.Z)
	}
	return pins
}

// toggle changes the pins of a set.
func (w *walker) toggle(pins part.Pins) { w.to(w.drive ^ pins) }

// settle brings the chip to rest. What a bidirectional pin shows to the chip is
// what the chip itself drives there, if it does.
func (w *walker) settle() {
	for range 4 {
		for _, pin := range w.c.InputPins {
			w.m.Set(pin, logic.Splat(w.level(pin)))
		}
		before := w.shown()
		w.m.Settle()
		if w.shown() == before {
			return
		}
	}
}

// level is what pin n carries: what the chip drives there, or else the adapter.
func (w *walker) level(n int) logic.Value {
	if w.c.Variant.Pins[n-1].Role == part.Bidirectional {
		if v := w.m.Out(n).Lane(0); v != logic.Z {
			return v
		}
		if w.floated.Has(n) {
			if w.c.Variant.Pins[n-1].PullUp {
				return logic.One
			}
			return logic.X
		}
	}
	return logic.FromBool(w.drive.Has(n))
}

// shown gathers what the chip drives at its bidirectional pins.
func (w *walker) shown() (levels [part.MaxPins + 1]logic.Value) {
	for _, o := range w.c.Outputs {
		if w.c.Variant.Pins[o.Pin-1].Role == part.Bidirectional {
			levels[o.Pin] = w.m.Out(o.Pin).Lane(0)
		}
	}
	return levels
}

// step describes the present levels as a step. A bidirectional pin is driven
// while the chip releases it, unless it is floated to see that it does.
func (w *walker) step() Step {
	st := Step{Driven: w.s.Inputs &^ w.floated}
	for _, o := range w.c.Outputs {
		value := w.m.Out(o.Pin).Lane(0)
		if w.c.Variant.Pins[o.Pin-1].Role == part.Bidirectional {
			if value == logic.Z && !w.floated.Has(o.Pin) {
				continue
			}
			st.Driven = st.Driven.With(o.Pin, false)
			if value == logic.Z && w.c.Variant.Pins[o.Pin-1].PullUp {
				continue // the resistor inside holds it: it is neither seen to float nor sure to be high
			}
		}
		if value == logic.X || !w.s.Outputs.Has(o.Pin) {
			continue
		}
		st.Compared = st.Compared.With(o.Pin, true)
		st.High = st.High.With(o.Pin, value == logic.One)
		st.Z = st.Z.With(o.Pin, value == logic.Z)
	}
	st.Drive = w.drive & st.Driven
	return st
}
