package bench

import (
	"cmp"
	"context"
	"strings"
	"time"

	"chipassay/host/adapter"
	"chipassay/host/identified"
	"chipassay/host/identify"
)

// An Identify is how an identification stands.
type Identify struct {
	Hint          identify.Hint
	Chip, Defects string              // that were seated in the virtual socket, as they were typed
	History       []identify.Progress // the candidates as they fell out
	Answer        *identified.Document
	Trouble       string // why there is no answer
}

// Now is how the identification stands at the last step.
func (i *Identify) Now() identify.Progress {
	if len(i.History) == 0 {
		return identify.Progress{}
	}
	return i.History[len(i.History)-1]
}

// Identify begins to identify the chip in the socket. At the virtual adapter the chip that
// is named is seated first, with defects, which semicolons part; none where none is named.
func (b *Bench) Identify(h identify.Hint, chip, defects string) error {
	h.Marking, chip = strings.TrimSpace(h.Marking), strings.TrimSpace(chip)
	if err := h.Check(); err != nil {
		return refused("%v", err)
	}
	seated, err := b.chipOf(chip, defects)
	if err != nil {
		return err
	}
	plan, err := b.means.Identify()
	if err != nil {
		return err
	}
	plan.Hint, plan.Seed = h, b.means.Seed
	plan.Watch = func(p identify.Progress) {
		b.identified(func(i *Identify) { i.History = append(i.History[:len(i.History):len(i.History)], p) })
	}
	return b.begin(Identifying, func(s *State, _ *work) error {
		if b.socket != nil {
			b.socket.Swap(seated)
		}
		s.Identify = &Identify{Hint: h, Chip: chip, Defects: defects}
		return nil
	}, func(ctx context.Context, _ *work) error {
		d, err := Identified(ctx, b.adapter, plan)
		b.identified(func(i *Identify) {
			switch {
			case ctx.Err() != nil:
				i.Trouble = "stopped; the supply is off"
			case err != nil:
				i.Trouble = plain(err)
			default:
				i.Answer = &d
			}
		})
		return err
	})
}

// identified changes how the identification stands.
func (b *Bench) identified(how func(i *Identify)) {
	b.change(func(s *State) {
		i := *s.Identify
		how(&i)
		s.Identify = &i
	})
}

// Identified identifies the chip in the socket of an adapter, and gives the document of the
// answer. The chip is left without supply.
func Identified(ctx context.Context, a *adapter.Adapter, p identify.Plan) (d identified.Document, err error) {
	seat, err := a.Seat(14, 14, 7) // one that every adapter has: where the chip is seated is to be found
	if err != nil {
		return d, err
	}
	started := time.Now()
	answer, err := identify.Chip(ctx, seat, p)
	if err = cmp.Or(ctx.Err(), err); err != nil {
		return d, err
	}
	board, firmware := a.Capabilities.Board, a.Capabilities.Firmware
	if answer.Test != nil {
		answer.Test.Adapter, answer.Test.Firmware = board, firmware
	}
	d = identified.Of(answer, p.Hint.Marking, answer.DateCode(started))
	d.Adapter, d.Firmware, d.Started = board, firmware, started.Truncate(time.Second)
	return d, nil
}
