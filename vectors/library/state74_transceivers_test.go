package library_test

import (
	"slices"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// A side of a transceiver that stores: its pins, whether it only pulls low, and
// what was taken in from it.
type side struct {
	pins          []int
	openCollector bool
	stored        []int
}

func newSide(from, to int, openCollector bool) *side {
	return &side{span(from, to), openCollector, stages(8)}
}

// seen are the levels at a side's pins: what the chip drives there, where it
// does, else what is applied.
func (s *side) seen(is part.Pins, driven []int) []int {
	levels := levelsOf(is, s.pins...)
	for i, level := range driven {
		if level != 1 || !s.openCollector {
			levels[i] = level
		}
	}
	return levels
}

// show writes what the chip drives at a side, nil for nothing.
func (s *side) show(out levels, driven []int) {
	release(out, true, s.pins...)
	for i, level := range driven {
		if level != 1 || !s.openCollector {
			put(out, s.pins[i], level)
		}
	}
}

// inverted gives the complements, if they are asked for.
func inverted(levels []int, invert bool) []int {
	levels = slices.Clone(levels)
	for i := range levels {
		if invert {
			levels[i] = opposite(levels[i])
		}
	}
	return levels
}

// registered is the 74646 and its kin: pins 1 and 23 clock what is at A and B
// into the registers, pins 2 and 22 choose the stored levels; enabled tells
// which of the sides A and B is driven.
func registered(invert, openA, openB bool, enabled func(is part.Pins) (a, b bool)) modelOf {
	return func(*part.Variant) model {
		a, b := newSide(4, 11, openA), newSide(20, 13, openB)
		drives := func(is part.Pins) (atA, atB []int) {
			toA, toB := enabled(is)
			if toA {
				atA = inverted(choose(is.Has(22), b.stored, levelsOf(is, b.pins...)), invert)
			}
			if toB {
				atB = inverted(choose(is.Has(2), a.stored, levelsOf(is, a.pins...)), invert)
			}
			return atA, atB
		}
		return func(was, is part.Pins) map[int]logic.Value {
			atA, atB := drives(is)
			seenA, seenB := a.seen(is, atA), b.seen(is, atB)
			if rose(was, is, 1) {
				a.stored = seenA
			}
			if rose(was, is, 23) {
				b.stored = seenB
			}
			atA, atB = drives(is)
			out := levels{}
			a.show(out, atA)
			b.show(out, atB)
			return out
		}
	}
}

func choose(first bool, one, other []int) []int {
	if first {
		return one
	}
	return other
}

// direction has an enable at pin 21, low to act, and A to B with pin 3 high.
func direction(is part.Pins) (a, b bool) { return !is.Has(21) && !is.Has(3), !is.Has(21) && is.Has(3) }

// enables are pin 3, high for A to B, and pin 21, low for B to A.
func enables(is part.Pins) (a, b bool) { return !is.Has(21), is.Has(3) }

// latchedBothWays is the 74543 and the inverting 74544: each way a chip enable, a latch
// enable and an output enable, all low to act.
func latchedBothWays(invert bool) modelOf {
	return func(*part.Variant) model {
		a, b := newSide(3, 10, false), newSide(22, 15, false)
		return func(_, is part.Pins) map[int]logic.Value {
			low := func(one, other int) bool { return !is.Has(one) && !is.Has(other) }
			var atA, atB []int
			take := func(from *side, driven []int, open bool) {
				if open {
					from.stored = from.seen(is, driven)
				}
			}
			// the side that is driven shows the other's latch, and its own latch takes that in
			if toA := low(23, 2); toA {
				take(b, nil, low(23, 1))
				atA = inverted(b.stored, invert)
				take(a, atA, low(11, 14))
			} else {
				take(a, nil, low(11, 14))
				if low(11, 13) {
					atB = inverted(a.stored, invert)
				}
				take(b, atB, low(23, 1))
			}
			out := levels{}
			a.show(out, atA)
			b.show(out, atB)
			return out
		}
	}
}

// From memory of the TTL data books.
var _ = addStates74(map[string]modelOf{
	"74646": registered(false, false, false, direction),
	"74647": registered(false, true, true, direction),
	"74648": registered(true, false, false, direction),
	"74649": registered(true, true, true, direction),
	"74651": registered(true, false, false, enables),
	"74652": registered(false, false, false, enables),
	"74653": registered(true, true, false, enables),
	"74654": registered(false, true, false, enables),
	"74543": latchedBothWays(false),
	"74544": latchedBothWays(true),
})
