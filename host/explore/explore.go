// Package explore lets a person toggle the inputs of a chip and see how it responds:
// level and volts at every pin, the level that the data sheet's function expects, a lamp
// at each output, and the rows of the function table as they are seen. It prints nothing:
// the terminal and other views show its States.
//
// It follows the electrical rules of an assay. A chip is powered only if the contact test
// finds it seated right. An output is never driven: a bidirectional pin is driven only
// while the definition says that the chip releases it, and is released in a step of its
// own before the chip drives it. A pin that does not reach the level it is driven to is
// released. What the data sheet forbids is refused. An open MOS input is held low through
// 10 kΩ between looks, because a level halfway would heat the chip.
package explore

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/assay/contact"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A Socket is the chip's place in an adapter. *adapter.Seat is one.
type Socket interface {
	contact.Prober
	Measure(ctx context.Context, steps []adapter.MeasureStep) ([]adapter.Measured, error)
	// PowerOn switches the supply on and gives the current in mA.
	PowerOn(ctx context.Context, limitMA int) (float64, error)
	// PowerOff releases all pins and switches the supply off.
	PowerOff(ctx context.Context) error
}

// ErrRefused is the error of a step that must not or cannot be taken; the state is unchanged.
var ErrRefused = errors.New("refused")

// A RefusedError is an ErrRefused with its reason.
type RefusedError struct{ Why string }

func (e *RefusedError) Error() string { return e.Why }

func (e *RefusedError) Unwrap() error { return ErrRefused }

func refuse(format string, values ...any) error {
	return &RefusedError{fmt.Sprintf(format, values...)}
}

// ErrSeating is the error of a chip that is not powered because of how it is seated.
var ErrSeating = errors.New("not powered")

// A Session is the exploration of one chip. It is for one goroutine at a time.
type Session struct {
	Type part.Type
	// PowerAnyway powers, at a low limit, what could not be shown to be seated right before power.
	PowerAnyway bool

	socket    Socket
	circuit   *logic.Circuit
	rules     *stimulus.Rules
	now       stance
	fixed     part.Pins // drivable pins that a person cannot set
	constants adapter.Constants
	helped    bool         // load resistors help to hold heavy inputs low
	resting   adapter.Pull // the bias between looks
	on        bool
	limitMA   int      // at which the supply trips
	cautions  []string // of the seating
	state     State
	tables    []*Table
	touched   time.Time
}

// A Drive is what the adapter does at a pin.
type Drive uint8

// The drives.
const (
	Open Drive = iota
	Low
	High
)

func (d Drive) String() string { return [...]string{"open", "L", "H"}[d] }

// Next is the drive after a toggle: L, H, open.
func (d Drive) Next() Drive { return [...]Drive{Low, High, Open}[d] }

// A stance is what the adapter drives, and the state of a good chip under it.
type stance struct {
	drives  [part.MaxPins + 1]Drive
	good    *logic.Machine
	unknown part.Pins // that did not reach the level they are driven to
}

func (st stance) clone() stance {
	st.good = st.good.Clone()
	return st
}

// New prepares to explore a type in a socket. It gives a *logic.MemoryError for a memory,
// and an ErrRefused for a part that must not be powered.
func New(socket Socket, t part.Type) (*Session, error) {
	if why := t.Variant.Refusal; why != "" {
		return nil, refuse("a %s must not be powered in the adapter: %s", t.Name(), why)
	}
	c, err := logic.Compile(t.Variant)
	if err != nil {
		return nil, err
	}
	s := &Session{Type: t, socket: socket, circuit: c, rules: stimulus.RulesIn(c, t.Family)}
	for _, p := range t.Variant.Pins {
		s.fixed = s.fixed.With(p.Number, p.Drivable() && (p.Tied != part.NotTied || p.Untested != ""))
	}
	s.tables = tablesOf(c)
	return s, nil
}

// On reports whether the chip is powered.
func (s *Session) On() bool { return s.on }

// State is what was last seen.
func (s *Session) State() State { return s.state }

// Tables are the part's function tables, with the rows that were seen.
func (s *Session) Tables() []*Table { return s.tables }

// Settable reports whether a person may set a pin of a powered chip, now or in another state.
func (s *Session) Settable(pin int) bool {
	return s.Type.Variant.Pins[pin-1].Drivable() && !s.fixed.Has(pin)
}

// PowerOn finds how the chip is seated, powers it, and drives its inputs low, except those
// that the data sheet requires high and active-low sets and clears. It returns an
// ErrSeating for a chip that is not seated right.
func (s *Session) PowerOn(ctx context.Context) (State, error) {
	if s.on {
		return s.state, nil
	}
	if err := s.seated(ctx); err != nil {
		return State{}, errors.Join(err, s.Close(ctx))
	}
	if _, err := s.socket.PowerOn(ctx, s.limitMA); err != nil {
		return State{}, errors.Join(err, s.Close(ctx))
	}
	s.on, s.helped, s.resting = true, false, adapter.Off
	start := s.start()
	s.now = stance{good: s.circuit.NewMachine()}
	s.state = State{Did: "power on"}
	if _, err := s.pass(ctx, append([]stance{start}, s.idle(start)...)); err != nil {
		return s.state, errors.Join(err, s.Close(ctx))
	}
	s.state.Step = 0
	return s.state, nil
}

// idle gives the stances in which active-low sets and clears are released one by one. A
// bar before the name marks them.
func (s *Session) idle(at stance) (way []stance) {
	for pin := range (s.circuit.Asynchronous() &^ s.circuit.Clocks() &^ s.fixed).All() {
		p := &s.Type.Variant.Pins[pin-1]
		if p.Role != part.Input || !strings.HasPrefix(p.Name, "/") || at.drives[pin] == High {
			continue
		}
		if some, err := s.way(at, []Change{{pin, High}}); err == nil {
			way = append(way, some...)
			at = way[len(way)-1]
		}
	}
	return way
}

// seated refuses a chip that is not seated right.
func (s *Session) seated(ctx context.Context) (err error) {
	if s.socket.Can().Measure == 0 {
		return fmt.Errorf("%w measure voltages, and exploring is looking at them", adapter.ErrCannot)
	}
	seating, err := contact.Test(ctx, s.socket, s.Type)
	if err != nil {
		return err
	}
	s.cautions, s.limitMA = nil, assay.SupplyLimitMA(s.Type.Family)
	switch {
	case seating.OneOpen(s.Type.Variant): // its supply does no harm
		s.cautions = append(s.cautions, seating.Found+": dirt, a bent pin, an open bond or the adapter (run chipassay adapter check)")
	case s.PowerAnyway && seating.Anyway(s.Type.Variant):
		s.limitMA = assay.LowLimitMA(s.Type)
		s.cautions = append(s.cautions, seating.PoweredAnyway(s.limitMA))
	case !seating.Good():
		return fmt.Errorf("%w: %v", ErrSeating, seating)
	case seating.Silent:
		return fmt.Errorf("%w: nothing reported before power how the chip is seated", ErrSeating)
	}
	if len(seating.Unjudged) > 0 {
		s.cautions = append(s.cautions, "contact and shorts before power were not tested at "+part.PinSet(seating.Unjudged...).Words())
	}
	s.constants, err = s.socket.Constants(ctx)
	return err
}

// start is the stance after power-on: the state is unknown, inputs are low except those
// that must be high, and so are the bidirectional pins that the chip releases.
func (s *Session) start() stance {
	st := stance{good: s.circuit.NewMachine()}
	var tied part.Pins
	for _, p := range s.Type.Variant.Pins {
		tied = tied.With(p.Number, p.Tied == part.TiedHigh)
	}
	high := s.rules.Start(tied)
	for _, p := range s.Type.Variant.Pins {
		switch {
		case !p.Drivable() || p.Role == part.Bidirectional && p.Tied == part.NotTied:
		case high.Has(p.Number):
			st.drives[p.Number] = High
		default:
			st.drives[p.Number] = Low
		}
	}
	s.settle(st)
	for pin := range s.bidirectionals().All() {
		if low := st.clone(); releases(st, pin) && !s.fixed.Has(pin) {
			low.drives[pin] = Low
			if s.settle(low); releases(low, pin) {
				st = low
			}
		}
	}
	return st
}

// releaseTime bounds how long switching off may take once the context is done.
const releaseTime = 3 * time.Second

// Close switches the supply off, even if the context is done.
func (s *Session) Close(ctx context.Context) error {
	s.on = false
	off, cancel := context.WithTimeout(context.WithoutCancel(ctx), releaseTime)
	defer cancel()
	if err := s.socket.PowerOff(off); err != nil {
		return fmt.Errorf("the supply could not be switched off, pull the adapter's plug: %w", err)
	}
	return nil
}

// How long the supply stays on without a key, and how long before that notice is given.
const (
	Patience = time.Minute
	Notice   = 10 * time.Second
)

// Touch notes that a person did something.
func (s *Session) Touch(now time.Time) { s.touched = now }

// Watch switches the supply off after Patience without a key. It returns how long the
// supply stays on, 0 if it is off.
func (s *Session) Watch(ctx context.Context, now time.Time) (left time.Duration, err error) {
	if !s.on {
		return 0, nil
	}
	if left = Patience - now.Sub(s.touched); left <= 0 {
		return 0, s.Close(ctx)
	}
	return left, nil
}

// Refresh looks again at a powered chip.
func (s *Session) Refresh(ctx context.Context) (State, error) {
	if !s.on {
		return s.state, refuse("the supply is off")
	}
	return s.state, s.enter(ctx, s.now, s.now.drives)
}

// Clocks are the pins that clock the chip by its definition and that a person may set.
func (s *Session) Clocks() []int {
	return slices.Collect((s.circuit.Clocks() &^ s.fixed).All())
}

// ClockBy gives the clock that goes with a pin: the pin itself, the clock of its section
// of the chip, or else the first; 0 if there is none.
func (s *Session) ClockBy(pin int) int {
	clocks := s.Clocks()
	if slices.Contains(clocks, pin) {
		return pin
	}
	for _, k := range s.circuit.Components() {
		if !(k.Inputs | k.Outputs).Has(pin) {
			continue
		}
		for _, clock := range clocks {
			if k.Inputs.Has(clock) {
				return clock
			}
		}
	}
	if len(clocks) > 0 {
		return clocks[0]
	}
	return 0
}
