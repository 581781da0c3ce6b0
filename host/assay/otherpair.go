package assay

import (
	"cmp"
	"context"
	"errors"
	"slices"

	"chipassay/host/adapter"
	"chipassay/host/probe"
	"chipassay/vectors/match"
	"chipassay/vectors/part"
)

// A Reseater seats another package, or the same with other supply pins. *adapter.Seat is one.
type Reseater interface {
	Reseated(pins, vcc, gnd int) (*adapter.Seat, error)
}

// A supplyPair are the supply pins of a package.
type supplyPair struct{ pins, vcc, gnd int }

// otherPairs are the supply pins that parts have and a type has not, those of its package
// first, and of the most parts.
func otherPairs(t part.Type, parts []match.Candidate) (pairs []supplyPair) {
	v := t.Variant
	counts := map[supplyPair]int{}
	for _, c := range parts {
		o := c.Variant
		p := supplyPair{len(o.Pins), o.VCC(), o.GND()}
		if o.Refusal == "" && p != (supplyPair{len(v.Pins), v.VCC(), v.GND()}) {
			counts[p]++
		}
	}
	for p := range counts {
		pairs = append(pairs, p)
	}
	slices.SortFunc(pairs, func(a, b supplyPair) int {
		if a.pins != b.pins && (a.pins == len(v.Pins) || b.pins == len(v.Pins)) {
			return first(a.pins == len(v.Pins), b.pins == len(v.Pins))
		}
		return cmp.Or(cmp.Compare(counts[b], counts[a]), cmp.Compare(a.pins, b.pins), cmp.Compare(a.vcc, b.vcc), cmp.Compare(a.gnd, b.gnd))
	})
	return pairs
}

// suppliedAt is a chip that lies right and has other supply pins, or another package.
func (c *contact) suppliedAt(p supplyPair) seated {
	s := seated{vcc: adapter.PositionOf(p.vcc, p.pins), gnd: adapter.PositionOf(p.gnd, p.pins)}
	for pin := range p.pins {
		s.all = s.all.With(adapter.PositionOf(pin+1, p.pins), true)
	}
	s.grounds, s.touching = part.PinSet(s.gnd), s.all&^part.PinSet(s.vcc, s.gnd)
	return s
}

// elsewhereSupplied finds the supply pins at which a chip answers that does not where
// the type has its own: it is right there, and stands up at a soft start. Those come
// first of whose package the most pins touch; any input leads to ground as a supply does.
func (c *contact) elsewhereSupplied(pairs []supplyPair) (found []supplyPair, err error) {
	var looks []look
	pairs = slices.DeleteFunc(slices.Clone(pairs), func(p supplyPair) bool { return c.suppliedAt(p).all&^c.fitted != 0 })
	for _, p := range pairs {
		s := c.suppliedAt(p)
		looks = append(looks, s.groundUp(PlacementStep, everywhere), s.supplyUp(PlacementStep, everywhere), s.bothUp(PlacementStep, everywhere))
	}
	seen, err := c.look(looks...)
	if err != nil || len(looks) == 0 {
		return nil, err
	}
	if c.k, err = c.prober.Constants(c.ctx); err != nil {
		return nil, err
	}
	open := map[supplyPair]int{}
	for i, p := range pairs {
		s := c.suppliedAt(p)
		if !c.lies(s, [3]adapter.Measured(seen[3*i:3*i+3])) || p == (supplyPair{c.n(), c.v.GND(), c.v.VCC()}) && c.turned(s, seen[3*i+2]) {
			continue
		}
		volts, err := c.softAt(s)
		if err != nil {
			return nil, err
		}
		if volts >= softVolts {
			touching, untold := c.touching(s, seen[3*i+2])
			open[p] = (s.touching &^ untold &^ touching).Len()
			found = append(found, p)
		}
	}
	slices.SortStableFunc(found, func(a, b supplyPair) int { return cmp.Compare(open[a], open[b]) })
	return found[:min(len(found), mostPairs)], nil
}

// anything tells whether some pin leads to another, whatever the chip: the ground of
// any leads to its other pins.
func (c *contact) anything() (bool, error) {
	var looks []look
	for position := range c.as(placement{}).all.All() {
		looks = append(looks, look{step: PlacementStep, up: part.PinSet(position), volts: everywhere})
	}
	seen, err := c.look(looks...)
	for i, m := range seen {
		if c.rises(m, looks[i].up) {
			return true, err
		}
	}
	return false, err
}

// turned tells whether a chip whose supply pins are those of the type, swapped, may be one of
// the type put in backwards: just its pins touch. Else it is a part of which they are swapped.
func (c *contact) turned(s seated, bothUp adapter.Measured) bool {
	touching, untold := c.touching(s, bothUp)
	back := c.as(placement{turned: true})
	var without part.Pins
	for _, p := range c.v.Pins {
		if p.Role == part.NoConnect {
			without |= part.PinSet(back.position(p.Number, c.n()))
		}
	}
	return back.touching&^untold&^touching == 0 && without&touching == 0
}

// softAt drives a supply pin high, with ground at its switch or its drive, and gives its voltage.
func (c *contact) softAt(s seated) (float64, error) {
	switched := part.PinSet(s.gnd) & c.prober.Groundable()
	if err := c.prober.Ground(c.ctx, switched); err != nil {
		return 0, err
	}
	seen, err := c.look(look{step: SoftStartStep, up: part.PinSet(s.vcc), down: part.PinSet(s.gnd) &^ switched, volts: part.PinSet(s.vcc)})
	if err != nil {
		return 0, err
	}
	return seen[0].Volts[s.vcc], nil
}

// refused is the result of a chip that is not powered as what was typed: which part it
// is, where it answers at the supply pins of another and is that by probing; else why
// it is not powered.
func (r *Result) refused(ctx context.Context, socket Socket, prober Prober, p Plan, s Seating) *Result {
	if found, err := r.suppliedElsewhere(ctx, socket, prober, p); err != nil {
		return r.notTested(unfinished(err))
	} else if found {
		return r.graded()
	}
	switch {
	case s.open:
		r.Trouble = NoContactPins
	case s.isShort:
		r.Trouble = ShortedPins
	case s.isHeavy:
		r.Trouble = TooMuchSupply
	}
	return r.notTested(s.String())
}

// suppliedElsewhere looks for other supply pins, powers the chip there and probes it.
func (r *Result) suppliedElsewhere(ctx context.Context, socket Socket, prober Prober, p Plan) (named bool, err error) {
	reseater, ok := socket.(Reseater)
	if !ok || !p.wants(FunctionStage) || p.Others == nil {
		return false, nil
	}
	c := contactOf(ctx, prober, p.Type)
	if r.Seating.Found == EmptySocket {
		if there, err := c.anything(); err != nil || !there {
			return false, releasing(ctx, socket, err)
		}
	}
	pairs := otherPairs(p.Type, r.parts(p))
	found, err := c.elsewhereSupplied(pairs)
	r.ContactVolts = append(r.ContactVolts, c.volts...)
	if err := releasing(ctx, socket, err); err != nil {
		return false, err
	}
	current, limit := r.SupplyCurrentMA, r.limitMA
	defer func() { r.SupplyCurrentMA, r.limitMA = current, limit }()
	r.limitMA = strangerMA
	for _, at := range found {
		seat, err := reseater.Reseated(at.pins, at.vcc, at.gnd)
		if err != nil { // the adapter cannot
			continue
		}
		err = r.powered(ctx, seat, func() error {
			return r.identify(ctx, seat, p, probe.Seat{Pins: at.pins, VCC: at.vcc, GND: at.gnd})
		})
		if r.other.found() {
			r.Seating, r.PinsFailed = nil, nil
			r.isAnother(r.other.numbers())
			return true, nil
		}
		if err != nil && !errors.Is(err, adapter.ErrOverCurrent) {
			return false, err
		}
	}
	return false, nil
}

// mostPairs is at how many supply pairs a chip is powered to find what it is.
const mostPairs = 3

// strangerMA, mA, is the limit for a chip of which the supply pins are known and nothing
// else: what the family that takes the most has. It lasts as long as probing, a second;
// 1 W warms the gram of a package by 1 K in that.
const strangerMA = 200

// releasing makes the socket safe and gives the error.
func releasing(ctx context.Context, socket Socket, err error) error {
	off, cancel := context.WithTimeout(context.WithoutCancel(ctx), releaseTime)
	defer cancel()
	if offErr := socket.PowerOff(off); err == nil {
		err = offErr
	}
	return err
}
