package contact

import (
	"cmp"
	"context"
	"maps"
	"slices"

	"chipassay/host/adapter"
	"chipassay/host/probe"
	"chipassay/vectors/part"
)

// A Place is a seat at which a chip of which nothing is known answers.
type Place struct {
	probe.Seat
	Open     part.Pins // signal pins without contact: dirt, an open bond, or nothing is connected there
	Unjudged part.Pins // signal pins whose contact could not be judged
}

// Stranger finds how a chip of which nothing is known is seated: the places, among those of the
// given parts, at which it answers as a chip that is seated right, those where most pins touch
// first. Where there is none, the Seating says why the chip must not be powered. It leaves the
// socket driven, and draws some 40 mA at most, as Test does.
func Stranger(ctx context.Context, p Prober, parts []*part.Variant) (places []Place, s Seating, err error) {
	seats := seatsOf(parts)
	seats = slices.DeleteFunc(seats, func(s probe.Seat) bool { return packaged(s).all&^p.Can().Reach != 0 })
	right, volts, err := answering(ctx, p, seats, placement{})
	if err != nil {
		return nil, Seating{Volts: volts}, err
	}
	for _, seat := range right {
		c := contactOf(ctx, p, Blank(seat))
		place, found, answers, err := c.stranger(seat, placement{}, parts)
		volts = append(volts, c.volts...)
		switch {
		case err != nil:
			return nil, Seating{Volts: volts}, err
		case answers && found.Good():
			places = append(places, place)
		case answers && s.Good():
			s = found
		}
	}
	slices.SortStableFunc(places, func(a, b Place) int { return cmp.Compare(a.Open.Len(), b.Open.Len()) })
	if len(places) == 0 && s.Good() {
		s, volts, err = nowhere(ctx, p, seats, volts)
	}
	s.Volts = volts
	return places[:min(len(places), mostSupplies)], s, err
}

// seatsOf are the packages and supply pins of parts, those of the most parts first.
func seatsOf(parts []*part.Variant) (seats []probe.Seat) {
	counts := map[probe.Seat]int{}
	for _, v := range parts {
		if v.Refusal == "" && !v.Unsupplied { // an unknown chip is not powered by its ground alone
			counts[probe.SeatOf(v)]++
		}
	}
	for s := range counts {
		seats = append(seats, s)
	}
	slices.SortFunc(seats, func(a, b probe.Seat) int {
		return cmp.Or(counts[b]-counts[a], a.Pins-b.Pins, a.VCC-b.VCC, a.GND-b.GND)
	})
	return seats
}

// Blank is a type of which only package and supply pins are known.
func Blank(s probe.Seat) part.Type {
	v := &part.Variant{Part: &part.Part{Number: "chip"}}
	for pin := 1; pin <= s.Pins; pin++ {
		role := part.Bidirectional
		switch pin {
		case s.VCC:
			role = part.Supply
		case s.GND:
			role = part.Ground
		}
		v.Pins = append(v.Pins, part.Pin{Number: pin, Role: role})
	}
	return part.Type{Variant: v, Family: &part.Family{}}
}

// answering gives the seats whose supply pins answer as those of a chip that is placed so.
// Each position that may be a supply pin is driven once, and only the other pins of its pairs
// are measured, so that all seats of the library take some 30 ms.
func answering(ctx context.Context, p Prober, seats []probe.Seat, at placement) (right []probe.Seat, volts []Volts, err error) {
	c := contactOf(ctx, p, Blank(probe.Seat{Pins: adapter.Positions, VCC: adapter.Positions, GND: adapter.Positions / 2}))
	places := map[probe.Seat]seated{}
	wanted := map[int]part.Pins{} // positions to measure where one is driven
	for _, seat := range seats {
		s := contactOf(ctx, p, Blank(seat)).as(at)
		if seat.Pins+2*at.shift > adapter.Positions || s.all&^c.can.Reach != 0 {
			continue
		}
		places[seat] = s
		wanted[s.vcc] |= part.PinSet(s.vcc, s.gnd)
		if wanted[s.gnd] |= part.PinSet(s.vcc, s.gnd); !c.can.Measure.Has(s.gnd) {
			wanted[s.gnd] |= s.all // its own voltage is reckoned
		}
	}
	if len(places) == 0 {
		return nil, nil, nil
	}
	if err := p.Ground(ctx, 0); err != nil {
		return nil, nil, err
	}
	driven := slices.Sorted(maps.Keys(wanted))
	var looks []look
	for _, position := range driven {
		looks = append(looks, look{step: PlacementStep, up: part.PinSet(position), volts: wanted[position]})
	}
	seen, err := c.look(looks...)
	if err != nil {
		return nil, c.volts, err
	}
	if c.k, err = p.Constants(ctx); err != nil {
		return nil, c.volts, err
	}
	up := map[int]adapter.Measured{}
	for i, position := range driven {
		up[position] = seen[i]
	}
	for _, seat := range seats {
		if s, there := places[seat]; there && c.pairOf(s, up[s.gnd], up[s.vcc]) == pairRight {
			right = append(right, seat)
		}
	}
	return right, c.volts, nil
}

// stranger examines one place: whether a chip answers there, which pins touch, what is shorted,
// and how the chip starts.
func (c *contact) stranger(seat probe.Seat, at placement, parts []*part.Variant) (place Place, found Seating, answers bool, err error) {
	s := c.as(at)
	if err := c.prober.Ground(c.ctx, 0); err != nil { // of the place before
		return Place{}, Seating{}, false, err
	}
	seen, err := c.look(s.bothUp(TouchStep, everywhere))
	if err != nil {
		return Place{}, Seating{}, false, err
	}
	if c.k, err = c.prober.Constants(c.ctx); err != nil {
		return Place{}, Seating{}, false, err
	}
	touching, unjudged := c.touching(s, seen[0])
	place = Place{Seat: seat, Open: part.PinSet(c.pins(s.touching &^ unjudged &^ touching)...), Unjudged: part.PinSet(c.pins(unjudged)...)}
	if c.beyond(s, seen[0]) || 3*touching.Len() < (s.touching&^unjudged).Len() || touching == 0 {
		return place, Seating{}, false, nil
	}
	if at != (placement{}) {
		return place, Seating{}, true, nil
	}
	found, err = c.shorts()
	if err == nil && found.Kind == Touching && joinedInside(found.Pins, seat, parts) {
		found = Seating{}
	}
	if err == nil && found.Good() {
		found, err = c.softly(Seating{})
	}
	return place, found, true, err
}

// joinedInside reports whether some part with that seat joins all of the pins inside.
func joinedInside(pins []int, seat probe.Seat, parts []*part.Variant) bool {
	return slices.ContainsFunc(parts, func(v *part.Variant) bool {
		return probe.SeatOf(v) == seat && !slices.ContainsFunc(pins, func(pin int) bool { return v.JoinedWith(pin) == nil })
	})
}

// nowhere says why no place was found: the chip is turned or shifted, the socket is empty, or
// the chip answers as no part does.
func nowhere(ctx context.Context, p Prober, seats []probe.Seat, volts []Volts) (Seating, []Volts, error) {
	for _, at := range []placement{{turned: true}, {shift: 1}, {shift: 2}} {
		there, more, err := answering(ctx, p, seats, at)
		volts = append(volts, more...)
		if err != nil {
			return Seating{}, volts, err
		}
		for _, seat := range there {
			c := contactOf(ctx, p, Blank(seat))
			_, _, answers, err := c.stranger(seat, at, nil)
			volts = append(volts, c.volts...)
			if err != nil || answers {
				return c.seatingAt(at), volts, err
			}
		}
	}
	whole := probe.Seat{Pins: adapter.Positions, VCC: adapter.Positions, GND: adapter.Positions / 2}
	c := contactOf(ctx, p, Blank(whole))
	there, err := c.anything()
	volts = append(volts, c.volts...)
	if err != nil || !there {
		return Seating{Found: EmptySocket, Advice: "seat the chip with pin 1 at the lever end, close the lever and try again"}, volts, err
	}
	return Seating{
		Kind:  Unlike,
		Found: "the pins do not answer as those of any part of the library do, either way round",
		Advice: "see that pin 1 is at the lever end and that all pins touch; else the chip is of another kind, or broken, or the adapter is (run chipassay adapter check): " +
			"it was not powered",
	}, volts, nil
}
