package bench

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"chipassay/host/explore"
	"chipassay/host/virtual"
	"chipassay/vectors/part"
)

// How often an explored chip is looked at, and how long each row of a walk stands.
const (
	lookPace = 500 * time.Millisecond
	rowPace  = 350 * time.Millisecond
)

// An Explore is how an exploration stands.
type Explore struct {
	Typed  string
	Type   part.Type
	On     bool
	State  explore.State
	Tables []explore.Table // with the rows that were seen
	Clocks []int           // pins
	// Settable are the pins that a person may set, now or in some state.
	Settable []int
	Left     time.Duration // how long the supply stays on without an action
	Walking  bool          // the rows of the function tables are being applied
	At       [2]int        // the table and row that were applied last; -1 for none
}

// Explore begins to explore the chip in the socket as what was typed. At the virtual
// adapter a chip is seated first: really another part, where chip names one, with defects.
func (b *Bench) Explore(typed, chip string, defects ...string) error {
	typ, err := b.means.Find(strings.TrimSpace(typed))
	if err != nil {
		return refused("%v", err)
	}
	if _, err := explore.New(nil, typ); err != nil { // what cannot be explored is said before anything is done
		return refused("%v", err)
	}
	var seated *virtual.Chip
	if seated, err = b.chipOf(typ, chip, defects...); err != nil {
		return err
	}
	return b.begin(Exploring, func(s *State, w *work) error {
		if b.socket != nil {
			b.socket.Swap(seated)
		}
		w.calls = make(chan func(*explore.Session) error)
		s.Explore = &Explore{Typed: typed, Type: typ, At: [2]int{-1, -1}}
		return nil
	}, func(ctx context.Context, w *work) error { return b.exploring(ctx, w, typ) })
}

// chipOf is the virtual chip that stands for what was typed, nil at a real adapter.
func (b *Bench) chipOf(typ part.Type, chip string, defects ...string) (*virtual.Chip, error) {
	b.mu.Lock()
	real := b.socket == nil
	b.mu.Unlock()
	if real {
		return nil, nil
	}
	if chip = strings.TrimSpace(chip); chip != "" {
		var err error
		if typ, err = b.means.Find(chip); err != nil {
			return nil, refused("%v", err)
		}
	}
	var parsed []virtual.Defect
	for _, text := range defects {
		if text = strings.TrimSpace(text); text == "" {
			continue
		}
		d, err := virtual.ParseDefect(text)
		if err != nil {
			return nil, refused("%v", err)
		}
		parsed = append(parsed, d)
	}
	c, err := virtual.NewChip(typ, parsed...)
	if err != nil {
		return nil, refused("%v", err)
	}
	return c, nil
}

// exploring is an exploration from contact test to switching off.
func (b *Bench) exploring(ctx context.Context, w *work, typ part.Type) (err error) {
	seat, err := b.adapter.SeatOf(typ.Variant)
	if err != nil {
		return err
	}
	s, err := explore.New(seat, typ)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, s.Close(context.WithoutCancel(ctx))); b.look(s, 0) }()
	if _, err := s.PowerOn(ctx); err != nil {
		return err
	}
	s.Touch(time.Now())
	b.look(s, explore.Patience)
	tick := time.NewTicker(lookPace)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case do := <-w.calls:
			s.Touch(time.Now())
			if err := do(s); err != nil {
				return err
			}
			b.look(s, explore.Patience)
		case now := <-tick.C:
			if !s.On() {
				continue
			}
			left, err := s.Watch(ctx, now)
			if err == nil && left > 0 {
				_, err = s.Refresh(ctx)
			}
			if err != nil {
				return err
			}
			b.look(s, left)
		}
	}
}

// look shows how a session stands.
func (b *Bench) look(s *explore.Session, left time.Duration) {
	var tables []explore.Table
	for _, t := range s.Tables() {
		copied := *t
		copied.Rows = slices.Clone(t.Rows)
		tables = append(tables, copied)
	}
	var settable []int
	for _, p := range s.Type.Variant.Pins {
		if s.Settable(p.Number) {
			settable = append(settable, p.Number)
		}
	}
	b.change(func(state *State) {
		e := *state.Explore
		e.On, e.State, e.Tables, e.Clocks, e.Settable, e.Left = s.On(), s.State(), tables, s.Clocks(), settable, left
		state.Explore = &e
	})
}

// do has the exploration do something; it waits until that is done. A refusal is the
// caller's, any other error ends the exploration.
func (b *Bench) do(what func(ctx context.Context, s *explore.Session) error) error {
	b.mu.Lock()
	w := b.work
	b.mu.Unlock()
	if w == nil || w.calls == nil {
		return refused("no chip is being explored")
	}
	answer := make(chan error, 1)
	call := func(s *explore.Session) error {
		err := what(b.ctx, s)
		answer <- err
		if errors.Is(err, explore.ErrRefused) || errors.Is(err, explore.ErrSeating) {
			return nil
		}
		return err
	}
	select {
	case w.calls <- call:
		err := <-answer
		if errors.Is(err, explore.ErrRefused) || errors.Is(err, explore.ErrSeating) {
			return refused("%v", err)
		}
		return err
	case <-w.ended:
		return refused("no chip is being explored")
	}
}

// Toggle sets a pin to what follows L, H, open.
func (b *Bench) Toggle(pin int) error {
	return b.do(func(ctx context.Context, s *explore.Session) error { _, err := s.Toggle(ctx, pin); return err })
}

// Step takes a step, or several, as they are typed.
func (b *Bench) Step(text string) error {
	return b.do(func(ctx context.Context, s *explore.Session) error {
		steps, err := s.Script(text)
		if err != nil {
			return &explore.RefusedError{Why: err.Error()}
		}
		for _, st := range steps {
			if err := s.Do(ctx, st, func(explore.State) error { return nil }); err != nil {
				return err
			}
		}
		return nil
	})
}

// Pulse pulses the clock that goes with a pin.
func (b *Bench) Pulse(pin int) error {
	return b.do(func(ctx context.Context, s *explore.Session) error {
		clock := s.ClockBy(pin)
		if clock == 0 {
			return &explore.RefusedError{Why: fmt.Sprintf("a %s has no clock", s.Type.Name())}
		}
		_, err := s.Pulse(ctx, clock)
		return err
	})
}

// Power switches the supply of the explored chip off, or tests contact and switches it on.
func (b *Bench) Power() error {
	return b.do(func(ctx context.Context, s *explore.Session) error {
		if s.On() {
			return s.Close(ctx)
		}
		_, err := s.PowerOn(ctx)
		return err
	})
}
