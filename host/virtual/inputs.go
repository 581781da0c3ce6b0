package virtual

import (
	"fmt"
	"slices"

	"chipassay/host/adapter"
)

// seen is what the MCU sees of a position.
type seen uint8

const (
	readsNode seen = iota // the position
	readsNet              // another net
	readsNone             // a line that nothing drives
)

// findInputs finds what the MCU and the converters see.
func (w *wiring) findInputs(b *Board) {
	for i := range w.inputs {
		w.sense[i], w.inputs[i] = noNet, noNet
	}
	for _, l := range lanes {
		bit := bitOfLane(l)
		line := l.Drive
		if l.Near() {
			line = l.Sense
			w.inputs[bit&7|bit>>1&8] = w.line(line)
		}
		n := w.line(line)
		w.sense[bit] = n
		w.reads[bit] = w.readingOf(n, l.Position)
		if w.reads[bit] != readsNode {
			w.odd |= adapter.At(l.Position)
		}
	}
	for k, ref := range [2]string{"U41", "U42"} {
		for i := range 8 {
			w.inputs[16+8*k+i] = w.pin(ref, fmt.Sprintf("CH%d", i))
		}
		w.converters[k] = w.converts(b, k)
		w.references[k] = w.pin(ref, "VREF") == railNet
	}
	w.monitored = w.monitors(b)
	w.reference = w.pin(referenceRef, "K")
	w.referenceHolds = w.reference >= firstNet && w.pin(referenceRef, "A") == groundNet && !b.dead[referenceRef]
}

// readingOf gives the reading of a line that senses a position.
func (w *wiring) readingOf(n net, position int) seen {
	hub := w.position[position]
	switch {
	case n == noNet:
		return readsNone
	case n < firstNet:
		return readsNet
	}
	c := &w.components[w.of[n]]
	others := slices.ContainsFunc(c.drivers, func(d driver) bool { return d.lead != driveLines })
	if len(c.wires) == 0 && len(c.sockets) == 0 && !others {
		return readsNone // nothing but its own driver is there
	}
	if _, simple := w.legs[hub]; !simple || w.of[n] != w.of[hub] || slices.ContainsFunc(c.drivers, func(d driver) bool { return d.net == n && d.lead == restLines }) {
		return readsNet
	}
	return readsNode
}
