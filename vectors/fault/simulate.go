package fault

import (
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A simulation runs up to 64 chips, each with a fault of its own, through a sequence.
type simulation struct {
	circuit *logic.Circuit
	machine *logic.Machine
	bipolar bool
	// ttlLevels is set where the inputs take 2.0 V for a high
	ttlLevels bool
	outputs   []int                        // observable pins
	shape     [part.MaxPins + 1][]laneRule // what faults make of an output's level, by pin
	reads     part.Pins                    // pins that the function reads
	shows     part.Pins                    // pins that are ever outputs
	shorts    []short
	drive     [part.MaxPins + 1]logic.Word // level at each driven pin
	shown     [part.MaxPins + 1]logic.Word // level at each output pin, after its faults
}

type laneRule struct {
	kind Kind
	mask uint64
}

type short struct {
	a, b int
	mask uint64
}

// simulate starts 64 good chips, for faults to be injected.
func simulate(c *logic.Circuit, f *part.Family) *simulation {
	s := &simulation{circuit: c, machine: c.NewMachine(), bipolar: f.Technology.Bipolar(), ttlLevels: f.VIH <= 2.0, reads: part.PinSet(c.InputPins...)}
	for _, o := range c.Outputs {
		s.outputs = append(s.outputs, o.Pin)
		s.shows = s.shows.With(o.Pin, true)
	}
	return s
}

// inject puts a fault into the lanes of a mask.
func (s *simulation) inject(f Fault, mask uint64) {
	switch f.Kind {
	case Short:
		s.shorts = append(s.shorts, short{f.Pin, f.Other, mask})
		return
	case Unpowered:
		for _, pin := range s.outputs {
			s.shape[pin] = append(s.shape[pin], laneRule{Open, mask})
		}
		return
	}
	if node, ok := s.circuit.Inputs[f.Pin]; ok {
		switch {
		case f.Kind == StuckLow, f.Kind == Open && s.circuit.Variant.Pins[f.Pin-1].Receiver:
			s.machine.Stick(node, logic.Zero, mask)
		case f.Kind == StuckHigh, f.Kind == Open && (s.bipolar || s.circuit.Variant.Pins[f.Pin-1].PullUp):
			s.machine.Stick(node, logic.One, mask) // an open TTL input acts as a high
		case f.Kind == Open:
			s.machine.Stick(node, logic.X, mask) // an open CMOS input floats anywhere
		}
	}
	if s.circuit.Variant.Pins[f.Pin-1].Observable() {
		s.shape[f.Pin] = append(s.shape[f.Pin], laneRule{f.Kind, mask})
	}
}

// apply gives all chips one step and settles them.
func (s *simulation) apply(st stimulus.Step) {
	for _, pin := range s.circuit.InputPins {
		s.drive[pin] = undriven(s.machine.Out(pin), s.circuit.Variant.Pins[pin-1])
		if st.Driven.Has(pin) {
			s.drive[pin] = logic.Splat(logic.FromBool(st.Drive.Has(pin)))
		}
	}
	s.joinShorts(st) // at once: the chip never sees the levels apart
	s.round(st)
	// what a chip shows at a pin that nobody else drives, it reads there too
	for range 4 {
		if !s.readBack(st) {
			break
		}
		s.round(st)
	}
	// a short may feed an output back to an input: a few rounds settle it or nothing does
	for range 4 {
		if len(s.shorts) == 0 || !s.joinShorts(st) {
			return
		}
		s.round(st)
	}
	for _, sh := range s.shorts {
		s.blur(sh)
	}
}

// readBack gives the bidirectional pins the level that comes about there, and
// reports whether that changed any: what the chip shows where the adapter leaves the
// pin alone, unknown where nobody drives it, and the outcome of the contest where
// a faulty chip drives a pin that the adapter drives too.
func (s *simulation) readBack(st stimulus.Step) (changed bool) {
	for pin := range (s.reads & s.shows).All() {
		w := s.shown[pin]
		if st.Driven.Has(pin) {
			low := w.Lo &^ w.Hi
			w = meet(w, logic.Splat(logic.FromBool(st.Drive.Has(pin))))
			if s.bipolar {
				w.Hi &^= low
			}
		} else {
			w = undriven(w, s.circuit.Variant.Pins[pin-1])
			released := ^(w.Hi | w.Lo)
			w = logic.Word{Hi: w.Hi | released, Lo: w.Lo | released}
		}
		if w != s.drive[pin] {
			s.drive[pin], changed = w, true
		}
	}
	return changed
}

// round sets the inputs, settles, and reads the outputs with their faults.
func (s *simulation) round(st stimulus.Step) {
	for _, pin := range s.circuit.InputPins {
		s.machine.Set(pin, s.drive[pin])
	}
	s.machine.Settle()
	for _, pin := range s.outputs {
		w := s.machine.Out(pin)
		for _, rule := range s.shape[pin] {
			w = rule.on(w)
		}
		s.shown[pin] = w
	}
}

// on is what a fault makes of an output's level.
func (r laneRule) on(w logic.Word) logic.Word {
	keep := ^r.mask
	switch r.kind {
	case StuckLow:
		return logic.Word{Hi: w.Hi & keep, Lo: w.Lo | r.mask}
	case StuckHigh:
		return logic.Word{Hi: w.Hi | r.mask, Lo: w.Lo & keep}
	case Open:
		return logic.Word{Hi: w.Hi & keep, Lo: w.Lo & keep}
	case NoPullUp:
		return logic.Word{Hi: w.Hi & (keep | w.Lo), Lo: w.Lo}
	case NoPullDown:
		return logic.Word{Hi: w.Hi, Lo: w.Lo & (keep | w.Hi)}
	}
	return w
}

// joinShorts gives both pins of each short their common level and reports whether anything moved.
func (s *simulation) joinShorts(st stimulus.Step) (moved bool) {
	for _, sh := range s.shorts {
		level := s.joined(st, sh)
		for _, pin := range []int{sh.a, sh.b} {
			s.set(&s.shown[pin], level, sh.mask)
			if s.reads.Has(pin) && s.set(&s.drive[pin], level, sh.mask) {
				moved = true
			}
		}
	}
	return moved
}

// set puts a level into the lanes of a mask and reports whether that changed them.
func (s *simulation) set(w *logic.Word, to logic.Word, mask uint64) bool {
	n := logic.Word{Hi: w.Hi&^mask | to.Hi&mask, Lo: w.Lo&^mask | to.Lo&mask}
	changed := n != *w
	*w = n
	return changed
}

// joined is the level of two pins that are joined: the chip's outputs and the
// adapter's drivers meet. Between bipolar outputs a low wins; where the adapter
// drives against an output, a bipolar low wins and all else is not predicted.
func (s *simulation) joined(st stimulus.Step, sh short) logic.Word {
	var chip, adapter, low logic.Word
	for _, pin := range [2]int{sh.a, sh.b} {
		switch {
		case st.Driven.Has(pin):
			adapter = meet(adapter, logic.Splat(logic.FromBool(st.Drive.Has(pin))))
		case s.shows.Has(pin):
			w := s.machine.Out(pin)
			for _, rule := range s.shape[pin] {
				w = rule.on(w)
			}
			chip = meet(chip, w)
			low.Lo |= w.Lo &^ w.Hi // held low by one of them for certain
		}
	}
	if s.ttlLevels { // two equal drivers against each other make 2.5 V, above VIH of 2.0 V
		adapter.Lo &^= adapter.Hi
	}
	level := meet(chip, adapter)
	if s.bipolar { // 16 mA and more sunk by the chip against 24 mA from the adapter stays low
		level.Hi &^= low.Lo
		level.Lo |= low.Lo
	}
	return level
}

// meet joins levels of equal strength: a released one gives way, and two that differ are unknown.
func meet(a, b logic.Word) logic.Word { return logic.Word{Hi: a.Hi | b.Hi, Lo: a.Lo | b.Lo} }

// blur makes the pins of a short that does not come to rest unknown.
func (s *simulation) blur(sh short) {
	for _, pin := range []int{sh.a, sh.b} {
		s.set(&s.shown[pin], logic.Splat(logic.X), sh.mask)
	}
}
