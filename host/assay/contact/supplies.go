package contact

import (
	"cmp"
	"context"
	"slices"

	"chipassay/host/adapter"
	"chipassay/host/probe"
	"chipassay/vectors/match"
	"chipassay/vectors/part"
)

// mostSupplies is at how many pairs of supply pins a chip is powered to find what it is.
const mostSupplies = 3

// Supplies finds the supply pins of other parts at which a chip answers that does not
// where its type has its own: it is right there, and stands up at a soft start. Those come
// first of whose package the most pins touch; any input leads to ground as a supply does.
// In a socket found to be empty it looks first whether there is anything. It leaves the
// socket driven.
func Supplies(ctx context.Context, p Prober, t part.Type, empty bool, parts func() []match.Candidate) (found []probe.Seat, volts []Volts, err error) {
	c := contactOf(ctx, p, t)
	if empty {
		if there, err := c.anything(); err != nil || !there {
			return nil, nil, err
		}
	}
	found, err = c.supplies(otherSupplies(t, parts()))
	return found, c.volts, err
}

// otherSupplies are the supply pins that parts have and a type has not, those of its package
// first, and of the most parts.
func otherSupplies(t part.Type, parts []match.Candidate) (others []probe.Seat) {
	n := len(t.Variant.Pins)
	counts := map[probe.Seat]int{}
	for _, c := range parts {
		if p := probe.SeatOf(c.Variant); c.Variant.Refusal == "" && !c.Variant.Unsupplied && p != probe.SeatOf(t.Variant) {
			counts[p]++
		}
	}
	for p := range counts {
		others = append(others, p)
	}
	foreign := func(p probe.Seat) int {
		if p.Pins == n {
			return 0
		}
		return 1
	}
	slices.SortFunc(others, func(a, b probe.Seat) int {
		return cmp.Or(foreign(a)-foreign(b), counts[b]-counts[a], a.Pins-b.Pins, a.VCC-b.VCC, a.GND-b.GND)
	})
	return others
}

// packaged is a chip of a package that is seated right.
func packaged(p probe.Seat) seated {
	s := seated{vcc: adapter.PositionOf(p.VCC, p.Pins), gnd: adapter.PositionOf(p.GND, p.Pins)}
	for pin := range p.Pins {
		s.all = s.all.With(adapter.PositionOf(pin+1, p.Pins), true)
	}
	s.grounds, s.touching = part.PinSet(s.gnd), s.all&^part.PinSet(s.vcc, s.gnd)
	return s
}

func (c *contact) supplies(others []probe.Seat) (found []probe.Seat, err error) {
	others = slices.DeleteFunc(others, func(p probe.Seat) bool { return packaged(p).all&^c.can.Reach != 0 })
	var places []seated
	for _, p := range others {
		places = append(places, packaged(p))
	}
	seen, _, err := c.placed(places)
	if err != nil || len(places) == 0 {
		return nil, err
	}
	if c.k, err = c.prober.Constants(c.ctx); err != nil {
		return nil, err
	}
	open := map[probe.Seat]int{}
	swapped := probe.Seat{Pins: c.n(), VCC: c.v.GND(), GND: c.v.VCC()}
	for i, s := range places {
		if !c.fits(s, seen[i]) || others[i] == swapped && c.turned(s, seen[i][2]) {
			continue
		}
		volts, err := c.soft(s)
		if err != nil {
			return nil, err
		}
		if volts >= softVolts {
			touching, unjudged := c.touching(s, seen[i][2])
			open[others[i]] = (s.touching &^ unjudged &^ touching).Len()
			found = append(found, others[i])
		}
	}
	slices.SortStableFunc(found, func(a, b probe.Seat) int { return open[a] - open[b] })
	return found[:min(len(found), mostSupplies)], nil
}

// anything reports whether some pin leads to another, whatever the chip: the ground of
// any leads to its other pins.
func (c *contact) anything() (bool, error) {
	var looks []look
	for position := range c.as(placement{}).all.All() {
		looks = append(looks, look{step: PlacementStep, up: part.PinSet(position), volts: everywhere})
	}
	seen, err := c.look(looks...)
	return c.rise(looks, seen), err
}

// turned reports whether a chip whose supply pins are those of the type, swapped, may be one of
// the type put in backwards: just its pins touch. Else it is a part of which they are swapped.
func (c *contact) turned(s seated, bothUp adapter.Measured) bool {
	touching, unjudged := c.touching(s, bothUp)
	back := c.as(placement{turned: true})
	var without part.Pins
	for _, p := range c.v.Pins {
		if p.Role == part.NoConnect {
			without |= part.PinSet(back.position(p.Number, c.n()))
		}
	}
	return back.touching&^unjudged&^touching == 0 && without&touching == 0
}
