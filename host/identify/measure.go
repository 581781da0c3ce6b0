package identify

import (
	"context"

	"chipassay/host/assay"
	"chipassay/host/assay/contact"
	"chipassay/host/probe"
	"chipassay/vectors/part"
)

// Measure measures the function of a chip of which only the package and the supply pins are
// known, such as programmable logic. It leaves the supply off.
func Measure(ctx context.Context, socket assay.Socket, seat probe.Seat, p Plan) (*Answer, error) {
	a := &Answer{plan: p}
	places, seating, err := contact.Stranger(ctx, socket, []*part.Variant{contact.Blank(seat).Variant})
	if offErr := assay.Safe(ctx, socket); err == nil {
		err = offErr
	}
	if err != nil {
		return nil, err
	}
	if len(places) == 0 {
		a.Seating, a.Reason = &seating, seating.String()
		return a, nil
	}
	place := places[0]
	at, err := socket.Reseated(place.Pins, place.VCC, place.GND)
	if err != nil {
		return nil, err
	}
	a.Seat, a.Open, a.unjudged = place.Seat, place.Open, place.Unjudged
	s := &stranger{plan: p, place: place, seat: at}
	if err := a.unknown(ctx, s); err != nil {
		return nil, err
	}
	a.Record = s.walk.Record()
	a.inputs()
	return a, nil
}
