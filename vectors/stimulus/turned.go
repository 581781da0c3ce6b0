package stimulus

import (
	"fmt"

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
	r := rulesOf(c)
	var controls []int
	var both part.Pins
	for pin := range s.Inputs.All() {
		switch p := c.Variant.Pins[pin-1]; {
		case p.Role == part.Bidirectional:
			both = both.With(pin, true)
		case p.Tied == part.NotTied && p.Untested == "":
			controls = append(controls, pin)
		}
	}
	for n := range uint64(1) << len(controls) {
		to := w.drive &^ both
		for i, pin := range controls {
			to = to.With(pin, (n^n>>1)>>i&1 != 0)
		}
		if r.forbidden(to) {
			continue
		}
		w.floated = both
		w.to(to)
		w.floated = 0
		w.sweepReleased(both)
	}
	s.Method = fmt.Sprintf("all %d settings of the controls; in each, every released pin seen to be released, and all combinations of the pins driven", 1<<len(controls))
	return s
}

// sweepReleased drives all combinations of the pins that the chip releases, if
// it answers to them at other pins. Where there are too many for that, each is
// changed alone from all low and from all high.
func (w *walker) sweepReleased(both part.Pins) {
	free := w.released()
	if free == both { // both sides released: nothing to see but that, and it was seen
		return
	}
	var pins []int
	for pin := range free.All() {
		pins = append(pins, pin)
	}
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
