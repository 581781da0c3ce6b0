package bench

import (
	"context"
	"errors"

	"chipassay/host/adapter"
	"chipassay/host/link"
	"chipassay/host/virtual"
)

// gone reports whether an error is that of an adapter which does not answer any more.
func gone(err error) bool {
	return errors.Is(err, link.ErrUnplugged) || errors.Is(err, link.ErrTimeout)
}

// plain is an error in words: of an adapter that does not answer not what was asked of it, and at which port.
func plain(err error) string {
	if gone(err) {
		return "the adapter does not answer: check its cable"
	}
	return err.Error()
}

// Open finds the adapter, or takes the virtual one where there is none, and opens the
// records of its chips. It is also how an adapter is looked for that was not there before,
// or was lost; it is refused while a work goes on.
func (b *Bench) Open(ctx context.Context) error {
	b.mu.Lock()
	switch {
	case b.work != nil:
		b.mu.Unlock()
		return refused("%s", doing[b.state.Work])
	case b.opening:
		b.mu.Unlock()
		return refused("the adapter is being looked for")
	}
	b.opening = true
	old := b.adapter
	if b.socket != nil {
		old = nil // the virtual one stays until there is another
	} else {
		b.adapter = nil
	}
	b.mu.Unlock()
	if old != nil { // it may have come back at another port
		old.Close()
	}
	a, socket, err := b.find(ctx)
	b.mu.Lock()
	defer b.mu.Unlock()
	b.opening = false
	switch {
	case err != nil:
		b.changeLocked(func(s *State) { s.Adapter.Lost = b.adapter == nil })
		return err
	case a == nil:
		b.sayLocked("no adapter was found: the virtual one goes on")
		return nil
	}
	return b.take(ctx, a, socket)
}

// find connects to the adapter at its port, or to the virtual one; to none where that is there.
func (b *Bench) find(ctx context.Context) (*adapter.Adapter, *virtual.Socket, error) {
	a, err := b.means.Adapter(ctx)
	if err == nil || !errors.Is(err, link.ErrNoAdapter) {
		return a, nil, err
	}
	b.mu.Lock()
	there := b.socket != nil
	b.mu.Unlock()
	if there {
		return nil, nil, nil
	}
	board, err := b.means.Board()
	if err != nil {
		return nil, nil, err
	}
	socket := board.Socket(nil, b.means.Seed)
	a, err = openVirtual(ctx, socket)
	return a, socket, err
}

// openVirtual opens the virtual adapter on a socket.
func openVirtual(ctx context.Context, socket *virtual.Socket) (*adapter.Adapter, error) {
	conn, err := virtual.Open(ctx, socket)
	if err != nil {
		return nil, err
	}
	a, err := adapter.Open(ctx, link.New(conn, 0))
	if err != nil {
		return nil, errors.Join(err, conn.Close())
	}
	return a, nil
}

// take works with an adapter from now on, and keeps records of its chips.
func (b *Bench) take(ctx context.Context, a *adapter.Adapter, socket *virtual.Socket) error {
	records, err := b.means.Records(ctx, socket != nil)
	if err != nil {
		return errors.Join(err, a.Close())
	}
	if b.records != nil {
		err = b.records.Close()
	}
	if b.adapter != nil {
		err = errors.Join(err, b.adapter.Close())
	}
	b.adapter, b.socket, b.records = a, socket, records
	b.changeLocked(func(s *State) {
		s.Adapter = described(a, socket != nil)
		s.Check, s.Calibration, s.Reading = nil, nil, nil // they were the other one's
	})
	return err
}

func described(a *adapter.Adapter, isVirtual bool) Adapter {
	c := a.Capabilities
	return Adapter{Board: c.Board, Firmware: c.Firmware, Groups: c.Groups(), Virtual: isVirtual}
}

// again connects to a real adapter that was lost in the middle of a work.
func (b *Bench) again(ctx context.Context) (*adapter.Adapter, error) {
	b.mu.Lock()
	old := b.adapter
	b.mu.Unlock()
	old.Close() // it is gone
	a, err := b.means.Adapter(ctx)
	if err != nil {
		return nil, err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.adapter = a
	b.changeLocked(func(s *State) { s.Adapter = described(a, false) })
	return a, nil
}
