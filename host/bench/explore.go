package bench

import (
	"cmp"
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

// An Explore is how an exploration stands.
type Explore struct {
	Typed, Chip, Defects string // as they were typed
	Type                 part.Type
	On                   bool
	Trouble              string // why the chip is not powered, or what ended the exploration
	State                explore.State
	Tables               []explore.Table // with the rows that were seen
	Clocks               []int           // pins
	// Settable are the pins that a person may set, now or in some state.
	Settable []int
	Left     time.Duration // how long the supply stays on without an action
	Walking  bool          // the rows of the function tables are being applied
	Rows     int           // that are left of the walk
}

// Explore begins to explore the chip in the socket as what was typed. At the virtual
// adapter a chip is seated first: really another part, where chip names one, with defects,
// which semicolons part.
func (b *Bench) Explore(typed, chip, defects string) error {
	typ, err := b.means.Find(strings.TrimSpace(typed))
	if err != nil {
		return refused("%v", err)
	}
	seated, err := b.chipOf(cmp.Or(strings.TrimSpace(chip), strings.TrimSpace(typed)), defects)
	if err != nil {
		return err
	}
	x := &exploration{bench: b}
	return b.begin(Exploring, func(s *State, w *work) error {
		seat, err := b.adapter.SeatOf(typ.Variant)
		if err == nil {
			x.session, err = explore.New(seat, typ)
		}
		if err != nil { // such as an adapter that has no supply at these pins
			return refused("%v", err)
		}
		if b.socket != nil {
			b.socket.Swap(seated)
		}
		w.calls = make(chan func(*exploration) error)
		s.Explore = &Explore{Typed: typed, Chip: chip, Defects: defects, Type: typ}
		return nil
	}, x.do)
}

// chipOf is the virtual chip of a type with defects; nil for an empty socket, or at a real
// adapter.
func (b *Bench) chipOf(typed, defects string) (*virtual.Chip, error) {
	if s, _ := b.State(); !s.Adapter.Virtual {
		return nil, nil
	}
	if typed == "" {
		if strings.TrimSpace(defects) != "" {
			return nil, refused("a defect is of a chip: name the chip that is in the socket")
		}
		return nil, nil
	}
	typ, err := b.means.Find(typed)
	if err != nil {
		return nil, refused("%v", err)
	}
	var parsed []virtual.Defect
	for text := range strings.SplitSeq(defects, ";") {
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

// An exploration is a work from contact test to switching off. Its calls and looks are
// made by one goroutine, one after the other.
type exploration struct {
	bench   *Bench
	session *explore.Session
	ctx     context.Context
	walk    *explore.Walk // nil for none
	trouble string
}

func (x *exploration) do(ctx context.Context, w *work) (err error) {
	x.ctx = ctx
	defer func() {
		if err != nil && ctx.Err() == nil {
			x.trouble = plain(err)
		}
		x.walk = nil
		err = errors.Join(err, x.session.Close(context.WithoutCancel(ctx)))
		x.show(0)
	}()
	if err := x.power(true); err != nil {
		return err
	}
	look := time.NewTicker(explore.LookPace)
	defer look.Stop()
	row := time.NewTicker(explore.RowPace)
	defer row.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case call := <-w.calls:
			if err := call(x); err != nil {
				return err
			}
		case <-row.C:
			if err := x.nextRow(); err != nil {
				return err
			}
		case now := <-look.C:
			if err := x.look(now); err != nil {
				return err
			}
		}
	}
}

// power switches the supply on, if the chip is seated right, or off.
func (x *exploration) power(on bool) error {
	x.walk, x.trouble = nil, ""
	var err error
	if on {
		_, err = x.session.PowerOn(x.ctx)
	} else {
		err = x.session.Close(x.ctx)
	}
	if errors.Is(err, explore.ErrSeating) {
		x.trouble, err = err.Error(), nil
	}
	x.touch()
	return err
}

// touch notes that a person did something, and shows what came of it.
func (x *exploration) touch() {
	x.session.Touch(time.Now())
	x.show(explore.Patience)
}

// look looks at a powered chip, or switches it off when nobody has done anything for long.
func (x *exploration) look(now time.Time) error {
	if !x.session.On() {
		return nil
	}
	left, err := x.session.Watch(x.ctx, now)
	if err == nil && left > 0 {
		_, err = x.session.Refresh(x.ctx)
	}
	if err != nil {
		return err
	}
	if left <= 0 {
		x.walk = nil
	}
	x.show(left)
	return nil
}

// nextRow takes the next row of a walk, if one is going on.
func (x *exploration) nextRow() error {
	if x.walk.Left() == 0 {
		return nil
	}
	if _, err := x.walk.Next(x.ctx); err != nil && !errors.Is(err, explore.ErrRefused) {
		return err
	}
	x.touch()
	return nil
}

// show shows how the session stands.
func (x *exploration) show(left time.Duration) {
	s := x.session
	if !s.On() {
		left = 0
	}
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
	x.bench.explored(func(e *Explore) {
		e.On, e.State, e.Tables, e.Clocks, e.Settable, e.Left = s.On(), s.State(), tables, s.Clocks(), settable, left
		e.Trouble, e.Rows, e.Walking = x.trouble, x.walk.Left(), x.walk.Left() > 0
	})
}

// explored changes how the exploration stands.
func (b *Bench) explored(how func(e *Explore)) {
	b.change(func(s *State) {
		e := *s.Explore
		how(&e)
		s.Explore = &e
	})
}

// explore has the exploration do something by hand, which ends a walk; it waits until
// that is done. A refusal is the caller's, any other error ends the exploration.
func (b *Bench) explore(what func(x *exploration) error) error {
	b.mu.Lock()
	w := b.work
	b.mu.Unlock()
	if w == nil || w.calls == nil {
		return refused("no chip is being explored")
	}
	answer := make(chan error, 1)
	call := func(x *exploration) error {
		x.walk = nil
		err := what(x)
		x.touch()
		if errors.Is(err, explore.ErrRefused) {
			answer <- refused("%v", err)
			return nil
		}
		if x.ctx.Err() != nil {
			answer <- refused("the exploration was stopped; the supply is off")
			return err
		}
		if gone(err) {
			answer <- refused("%s", plain(err))
			return err
		}
		answer <- err
		return err
	}
	select {
	case w.calls <- call:
		return <-answer
	case <-w.ended:
		return refused("no chip is being explored")
	}
}

// Toggle sets a pin to what follows L, H, open.
func (b *Bench) Toggle(pin int) error {
	return b.explore(func(x *exploration) error {
		if err := x.has(pin); err != nil {
			return err
		}
		return x.take(x.session.Setting(pin, x.session.Drive(pin).Next()))
	})
}

// Set sets a pin.
func (b *Bench) Set(pin int, to explore.Drive) error {
	return b.explore(func(x *exploration) error {
		if err := x.has(pin); err != nil {
			return err
		}
		return x.take(x.session.Setting(pin, to))
	})
}

// take takes a step.
func (x *exploration) take(st explore.Statement) error {
	return x.session.Do(x.ctx, st, func(explore.State) error { return nil })
}

// has refuses a pin that the chip has not.
func (x *exploration) has(pin int) error {
	if n := len(x.session.Type.Variant.Pins); pin < 1 || pin > n {
		return &explore.RefusedError{Why: fmt.Sprintf("pin %d: the chip has pins 1 to %d", pin, n)}
	}
	return nil
}

// Step takes a step, or several, as they are typed; rows walks the function tables.
func (b *Bench) Step(text string) error {
	return b.explore(func(x *exploration) error {
		steps, err := x.session.Typed(text)
		if err != nil {
			return &explore.RefusedError{Why: err.Error()}
		}
		for _, st := range steps {
			if st.Rows {
				x.walk, err = x.session.Walk()
			} else {
				err = x.take(st)
			}
			if err != nil {
				return err
			}
		}
		return nil
	})
}

// Pulse pulses the clock that goes with a pin.
func (b *Bench) Pulse(pin int) error {
	return b.explore(func(x *exploration) error {
		if err := x.has(pin); err != nil {
			return err
		}
		clock := x.session.ClockBy(pin)
		if clock == 0 {
			return &explore.RefusedError{Why: fmt.Sprintf("a %s has no clock", x.session.Type.Name())}
		}
		name := x.session.Type.Variant.Pins[clock-1].Name
		return x.take(explore.Statement{Text: "clock " + name, Clock: clock})
	})
}

// Walk begins to walk the rows of the function tables, or stops that.
func (b *Bench) Walk() error {
	s, _ := b.State()
	walking := s.Explore != nil && s.Explore.Walking
	return b.explore(func(x *exploration) (err error) {
		if walking { // to do something by hand stops it
			return nil
		}
		if !x.session.On() {
			return &explore.RefusedError{Why: "the supply is off"}
		}
		x.walk, err = x.session.Walk()
		return err
	})
}

// Power switches the supply of the explored chip off, or tests contact and switches it on.
func (b *Bench) Power() error {
	return b.explore(func(x *exploration) error { return x.power(!x.session.On()) })
}

// Keep keeps the supply on for another while.
func (b *Bench) Keep() error { return b.explore(func(*exploration) error { return nil }) }
