package assay

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"chipassay/host/adapter"
	"chipassay/host/assay/contact"
	"chipassay/host/probe"
	"chipassay/vectors/match"
	"chipassay/vectors/part"
)

// mayPower finds how the chip is seated, where the plan wants that; the result where the
// chip is not to be powered, else nil.
func (r *Result) mayPower(ctx context.Context, socket Socket, p Plan) *Result {
	if refusal := p.Type.Variant.Refusal; refusal != "" {
		return r.notTested("this part must not be powered in the adapter: " + refusal)
	}
	if !p.wants(ContactStage) || socket.Can().Measure == 0 {
		return nil
	}
	v := p.Type.Variant
	goesOn := func(s contact.Seating) bool {
		return s.Good() || s.OneOpen(v) || s.OfAnother(p.Type, r.parts(p)) || p.PowerAnyway && s.Anyway(v)
	}
	seating, err := contact.Test(ctx, socket, p.Type)
	if err != nil || !p.wants(FunctionStage) && !p.wants(LevelStage) || !goesOn(seating) {
		err = errors.Join(err, Safe(ctx, socket))
	}
	r.ContactVolts = seating.Volts
	if err != nil {
		return r.notTested(unfinished(err))
	}
	r.contacted, r.uncontacted = true, part.PinSet(seating.Unjudged...)
	if seating.Silent || seating.Kind == contact.Unlike {
		r.contacted = false // nothing is known of the pins
	}
	if len(seating.Unjudged) > 0 {
		r.NotTested = append(r.NotTested, "contact and shorts before power of "+r.uncontacted.Words()+
			": the adapter measures no voltage there, because its far converters are not fitted")
	}
	switch {
	case seating.Silent:
		r.silent = true
		r.limitMA = LowLimitMA(p.Type)
		r.Cautions = append(slices.Clone(r.Cautions), fmt.Sprintf("how the chip is seated could not be checked before power, because an internal charge pump biases its substrate: "+
			"it was powered with at most %d mA, and the vectors alone decide", r.limitMA))
	case !seating.Good():
		r.Seating = &seating
		r.fail(part.PinSet(seating.Pins...))
		if !goesOn(seating) {
			return r.refused(ctx, socket, p)
		}
		if !seating.OneOpen(v) && !seating.OfAnother(p.Type, r.parts(p)) {
			r.limitMA = LowLimitMA(p.Type)
			r.Cautions = append(slices.Clone(r.Cautions), seating.PoweredAnyway(r.limitMA))
		}
	}
	return nil
}

// onlyContact says what came of the contact stage alone.
func (r *Result) onlyContact() string {
	if r.Seating != nil {
		return r.Seating.String()
	}
	if r.silent {
		return "only contact was requested, and how the chip is seated could not be checked: an internal charge pump biases its substrate"
	}
	return "only contact was requested: the chip is seated right and every pin makes contact"
}

// refused is the result of a chip that is not powered as what was typed: which part it
// is, where it answers at the supply pins of another and is that by probing; else why
// it is not powered.
func (r *Result) refused(ctx context.Context, socket Socket, p Plan) *Result {
	if found, err := r.suppliedElsewhere(ctx, socket, p); err != nil {
		return r.notTested(unfinished(err))
	} else if found {
		return r.graded()
	}
	switch r.Seating.Kind {
	case contact.Open:
		r.Trouble = NoContactPins
	case contact.Touching, contact.Shorted:
		r.Trouble = ShortedPins
	case contact.Heavy:
		r.Trouble = TooMuchSupply
	}
	return r.notTested(r.Seating.String())
}

// suppliedElsewhere looks for other supply pins, powers the chip there and probes it.
func (r *Result) suppliedElsewhere(ctx context.Context, socket Socket, p Plan) (named bool, err error) {
	if !p.wants(FunctionStage) || p.Others == nil {
		return false, nil
	}
	found, volts, err := contact.Supplies(ctx, socket, p.Type, r.Seating.Found == contact.EmptySocket,
		func() []match.Candidate { return r.parts(p) })
	r.ContactVolts = append(r.ContactVolts, volts...)
	if err := errors.Join(err, Safe(ctx, socket)); err != nil {
		return false, err
	}
	for _, at := range found {
		seat, err := socket.Reseated(at.Pins, at.VCC, at.GND)
		if err != nil { // the adapter cannot
			continue
		}
		err = r.identifyStranger(ctx, seat, p, at)
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

// strangerMA, mA, is the limit for a chip of which the supply pins are known and nothing
// else: what the family that takes the most has. It lasts as long as probing, a second;
// 1 W warms the gram of a package by 1 K in that.
const strangerMA = 200

// identifyStranger powers such a chip and identifies it.
func (r *Result) identifyStranger(ctx context.Context, socket Socket, p Plan, at probe.Seat) error {
	defer func(mA float64, limit int) { r.SupplyCurrentMA, r.limitMA = mA, limit }(r.SupplyCurrentMA, r.limitMA)
	r.limitMA = strangerMA
	return r.powered(ctx, socket, func() error { return r.identify(ctx, socket, p, at) })
}

// presenceMA is a supply current, in mA, that only a chip in the socket takes.
const presenceMA = 0.3

// present reports whether a chip is in the socket, though it answers nothing.
func (r *Result) present(ctx context.Context, socket Socket) bool {
	if socket.Can().Measure == 0 {
		return false
	}
	there, err := contact.Present(ctx, socket, r.Type)
	_ = Safe(ctx, socket) // nothing is supplied; the adapter releases by itself too
	return err == nil && there
}
