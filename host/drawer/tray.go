package drawer

import (
	"context"
	"io"

	"chipassay/host/assay"
	"chipassay/host/virtual"
	"chipassay/vectors/part"
)

// A Swapper is a virtual socket: *virtual.Socket, or that of a simulated adapter.
type Swapper interface{ Swap(*virtual.Chip) }

// A Tray is a Bench and its Operator: virtual chips that come to a virtual socket
// one after another, with what the operator types about each. Everything is asked of
// the Station at the socket; the tray only moves the chips.
type Tray struct {
	*Station
	Socket Swapper
	Places []virtual.Place

	at     int // place of the chip in the socket, or next to come
	typed  int // of the lines before or after it
	in     bool
	looked int  // since the chip came
	done   bool // it was tested
}

// Next is the line that is typed at this point: the date code and the note of a chip, and
// then what the tray has before it; after its test, what the tray has behind it.
func (t *Tray) Next() (string, bool, error) {
	if t.at >= len(t.Places) {
		return "", false, io.EOF
	}
	p := t.Places[t.at]
	list := p.After
	switch {
	case t.in && !t.done, !t.in && t.looked < steady: // a chip that came or went is not noticed yet
		return "", false, io.EOF
	case !t.in:
		list = before(p)
	}
	if t.typed >= len(list) {
		return "", false, io.EOF
	}
	t.typed++
	return list[t.typed-1], true, nil
}

// before are the lines typed before a chip comes.
func before(p virtual.Place) []string { return append(marked(p), p.Before...) }

// marked are the lines that enter what is marked on a chip, the part first.
func marked(p virtual.Place) []string {
	list := []string{"part " + p.Marking}
	if p.DateCode != "" {
		list = append(list, "date "+p.DateCode)
	}
	if p.Note != "" {
		list = append(list, "note "+p.Note)
	}
	return list
}

// Present moves the chips: one comes after a look at the empty socket, and goes
// once it was tested, or twice looked at without.
func (t *Tray) Present(ctx context.Context, typ part.Type) (bool, error) {
	present, err := t.Station.Present(ctx, typ)
	if err != nil {
		return false, err
	}
	switch {
	case t.in:
		if t.looked++; t.done && t.looked > 1 || t.looked > steady {
			t.Socket.Swap(nil)
			t.in, t.at, t.looked, t.typed = false, t.at+1, 0, 0
		}
	case t.at >= len(t.Places) && t.looked >= steady:
		return false, ErrNoMore
	case t.at >= len(t.Places) || t.looked < steady:
		t.looked++
	default:
		t.Socket.Swap(t.Places[t.at].Chip)
		t.in, t.done, t.looked = true, false, 0
	}
	return present, nil
}

// Test tests the chip in the socket.
func (t *Tray) Test(ctx context.Context, typ part.Type) (*assay.Result, error) {
	if t.in && !t.done {
		t.typed = 0
	}
	t.done, t.looked = t.in, 0
	return t.Station.Test(ctx, typ)
}
