package flash

import (
	"context"
	"errors"

	"chipassay/host/adapter"
	"chipassay/host/assay/contact"
	"chipassay/host/link"
	"chipassay/protocol"
)

// A Board is what the firmware that runs on a board says of it.
type Board struct {
	Firmware string // major.minor.patch; empty if none answers
	Looked   bool   // into the socket
	Chip     bool   // one is in it
	Why      string // it could not be looked into the socket
}

// Ask asks the firmware of the board at a port which one it is, and whether a chip is in
// the socket. A board without firmware, with one of another protocol, or without its
// carrier is no error: Why says so.
func Ask(ctx context.Context, port string, baud int) (b Board, err error) {
	a, err := open(ctx, port, baud)
	switch {
	case errors.Is(err, link.ErrTimeout):
		b.Why = "no firmware of chipassay answers there"
		return b, nil
	case errors.Is(err, protocol.ErrVersion):
		b.Why = "its firmware speaks another version of the protocol"
		return b, nil
	case err != nil:
		return b, err
	}
	defer func() { err = errors.Join(err, a.Close()) }()
	b.Firmware = a.Capabilities.Firmware
	seat, err := a.Seat(14, 14, 7) // one that every carrier has
	if errors.Is(err, adapter.ErrCannot) {
		b.Why = err.Error()
		return b, nil
	}
	if err != nil {
		return b, err
	}
	b.Chip, err = contact.Anything(ctx, seat)
	b.Looked = err == nil
	return b, errors.Join(err, seat.PowerOff(ctx))
}

// Running waits for the firmware to start and gives its version.
func Running(ctx context.Context, port string, baud int) (version string, err error) {
	a, err := open(ctx, port, baud)
	if err != nil {
		return "", err
	}
	return a.Capabilities.Firmware, a.Close()
}

func open(ctx context.Context, port string, baud int) (*adapter.Adapter, error) {
	l, err := link.Connect(ctx, port, baud)
	if err != nil {
		return nil, err
	}
	a, err := adapter.Open(ctx, l)
	if err != nil {
		return nil, errors.Join(err, l.Close())
	}
	return a, nil
}
