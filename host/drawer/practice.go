package drawer

import "chipassay/host/virtual"

// A Practice is a Bench for a person who practises: virtual chips that Seat moves, at
// their word, where a Tray runs through by itself.
type Practice struct {
	*Station
	Socket Swapper
	Places []virtual.Place

	Typed string // what the chips are taken to be before the first

	next int // place of the next chip
}

// Left is how many chips are still to come.
func (p *Practice) Left() int { return len(p.Places) - p.next }

// Seat takes out the chip in the socket and seats the next, and gives what a person
// would say who reads what is marked on it. A part that was typed since the chip before
// holds for this one instead. ErrNoMore where the tray is empty.
func (p *Practice) Seat(typed string) (words []string, err error) {
	if p.Left() == 0 {
		p.Socket.Swap(nil)
		return nil, ErrNoMore
	}
	place := p.Places[p.next]
	p.next++
	p.Socket.Swap(place.Chip)
	if words = marked(place); typed != p.Typed {
		p.Typed = typed
		return words[1:], nil
	}
	p.Typed = place.Marking
	return words, nil
}
