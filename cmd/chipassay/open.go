package main

import (
	"context"
	"errors"
	"path/filepath"

	"chipassay/host/adapter"
	"chipassay/host/link"
	"chipassay/host/virtual"
)

func dirOf(name string) string { return filepath.Dir(name) }

// openPort opens the adapter at a serial port, or the one that is found where no port is named.
func openPort(ctx context.Context, name string) (*adapter.Adapter, error) {
	l, err := connect(ctx, name)
	if err != nil {
		return nil, couldNotTest(err)
	}
	a, err := adapter.Open(ctx, l)
	if err != nil {
		return nil, couldNotTest(errors.Join(err, l.Close()))
	}
	return a, nil
}

func connect(ctx context.Context, name string) (*link.Link, error) {
	if name != "" {
		return link.Connect(ctx, name)
	}
	seen, err := link.Probe(ctx)
	if err != nil {
		return nil, err
	}
	l, _, err := link.Only(seen)
	return l, err
}

// openVirtual opens the virtual adapter with a chip in its socket.
func openVirtual(ctx context.Context, chip *virtual.Chip, seed uint64) (*adapter.Adapter, error) {
	return openSocket(ctx, virtual.NewSocket(chip, seed))
}

// openSocket opens the virtual adapter on a socket.
func openSocket(ctx context.Context, socket *virtual.Socket) (*adapter.Adapter, error) {
	conn, err := virtual.Open(ctx, socket)
	if err != nil {
		return nil, couldNotTest(err)
	}
	a, err := adapter.Open(ctx, link.New(conn, 0))
	if err != nil {
		return nil, couldNotTest(errors.Join(err, conn.Close()))
	}
	return a, nil
}
