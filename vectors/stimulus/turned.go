package stimulus

import (
	"fmt"
	"slices"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

func hasBidirectional(v *part.Variant) bool {
	for _, p := range v.Pins {
		if p.Role == part.Bidirectional {
			return true
		}
	}
	return false
}

// maxTurnedInputs bounds the pins swept whole in one direction of a transceiver.
const maxTurnedInputs = 10

// turned tests a combinational part with bidirectional pins: for each setting of
// its plain inputs, which set the direction, first with nothing driven, so that
// every released pin is seen to be released, then with all combinations of the
// pins that the chip leaves to the adapter.
func turned(c *logic.Circuit) *Sequence {
	s := newSequence(c)
	w := newWalker(c, s)
	r := RulesOf(c)
	var controls []int
	var both, open part.Pins // open are those of them that float where nothing drives them
	for pin := range s.Inputs.All() {
		switch p := c.Variant.Pins[pin-1]; {
		case p.Role == part.Bidirectional:
			both, open = both.With(pin, true), open.With(pin, !p.PullUp)
		case p.Tied == part.NotTied && p.Untested == "":
			controls = append(controls, pin)
		}
	}
	var settings []part.Pins
	var sides []part.Pins // what the chip drives in one setting or another
	for n := range uint64(1) << len(controls) {
		to := w.drive &^ both
		for i, pin := range controls {
			to = to.With(pin, (n^n>>1)>>i&1 != 0)
		}
		if r.forbidden(to) {
			continue
		}
		if both != open { // what a resistor inside holds high, as in use
			w.floated = both
			w.to(to)
		}
		w.floated = open
		w.to(to)
		w.floated = 0
		if side := both &^ w.released(); side != 0 && !slices.Contains(sides, side) {
			sides = append(sides, side)
		}
		settings = append(settings, to)
		free := w.released()
		w.sweepReleased(both)
		w.letGo(to, both, open, free)
	}
	for _, to := range settings {
		w.seeReleased(to, both, open, sides)
	}
	s.Method = fmt.Sprintf("all %d settings of the controls; in each, every released pin seen to be released, and all combinations of the pins driven", 1<<len(controls))
	return s
}

// seeReleased takes a setting in which the chip releases both of its sides, and
// drives each side in turn low and high, so that a chip that drives all the same
// is seen at the other.
func (w *walker) seeReleased(setting, both, open part.Pins, sides []part.Pins) {
	w.floated = open
	w.to(setting)
	if w.released() == both {
		for _, side := range sides {
			w.floated = side & open
			for _, level := range []part.Pins{0, both} {
				w.to(setting&^both | level&^side)
			}
		}
	}
	w.floated = 0
}

// letGo drives the pins that are free in a setting low, then high, and each
// time lets them go: a chip that drives them all the same holds the level.
func (w *walker) letGo(setting, both, open, free part.Pins) {
	if free == 0 || free == both {
		return
	}
	for _, level := range []part.Pins{0, free} {
		w.floated = both &^ free
		w.to(setting&^both | level)
		w.floated = both&^free | free&open
		w.to(w.drive)
	}
	w.floated = 0
}

// onlyTurns reports whether all outputs are bidirectional.
func (w *walker) onlyTurns() bool {
	return !slices.ContainsFunc(w.c.Outputs, func(o logic.Output) bool {
		return w.c.Variant.Pins[o.Pin-1].Role != part.Bidirectional
	})
}

// sweepReleased drives all combinations of the pins that the chip releases, if
// it answers to them at other pins. Where there are too many for that, each is
// changed alone from all low and from all high.
func (w *walker) sweepReleased(both part.Pins) {
	free := w.released()
	if free == both && w.onlyTurns() { // both sides released: nothing to see but that, and it was seen
		return
	}
	var pins []int
	for pin := range free.All() {
		pins = append(pins, pin)
	}
	// what the chip may drive is left to it: an open-collector output is seen to release
	w.floated = both &^ free
	defer func() { w.floated = 0 }()
	rest := w.drive &^ both
	if len(pins) > maxTurnedInputs {
		for _, base := range []part.Pins{0, free} {
			w.to(rest | base)
			for _, pin := range pins {
				w.to(rest | base ^ part.PinSet(pin))
			}
		}
		return
	}
	for n := range uint64(1) << len(pins) {
		drive := rest
		for i, pin := range pins {
			drive = drive.With(pin, (n^n>>1)>>i&1 != 0)
		}
		w.to(drive)
	}
}
