package contact

import (
	"context"

	"chipassay/host/adapter"
	"chipassay/host/probe"
)

// Anything reports whether there is a chip in an unpowered socket, whatever it is and
// however it is seated. It leaves the socket driven, as Stranger does, and asks for less.
func Anything(ctx context.Context, p Prober) (bool, error) {
	whole := probe.Seat{Pins: adapter.Positions, VCC: adapter.Positions, GND: adapter.Positions / 2}
	return contactOf(ctx, p, Blank(whole)).anything()
}
