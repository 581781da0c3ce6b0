package adapter

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"chipassay/protocol"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// A WatchAction is what is set at a time: what it releases, then the levels, the pulls, and what it drives, all within a µs.
type WatchAction struct {
	At time.Duration // after the first action, in whole µs; 0 for the first
	stimulus.Step
	Bias, Load Pull
}

// A Watch acts on the chip at given times, and times the edges of one pin meanwhile. Pins
// are those of the chip, or positions where an operation says so.
type Watch struct {
	Pin     int           // whose edges are timed
	Until   time.Duration // its end at the latest, after the first action, in whole µs
	Edges   int           // it ends after so many, up to 64; 0 for 64
	Actions []WatchAction // 1 to 8, in order
	// Halt is set at the first edge after the last action, which ends the watch. Pulls that are not turned off
	// but set otherwise come up to 30 µs after the rest. Nil: it does not halt.
	Halt      *WatchAction
	Measure   int // pin whose voltage is measured at the end, 0 for none: within 10 µs at a near position
	Averaging int // 2^Averaging conversions, 26 µs each at a near position
}

// An Edge is a change of the watched pin.
type Edge struct {
	At   time.Duration // when it was seen, after the first action's drive
	Gap  time.Duration // before At the pin was not looked at for so long: the edge came within it
	High bool          // the pin rose
}

// Watched is what a Watch gave.
type Watched struct {
	Begin, End bool // whether the pin read high before the first action's drive, and at the end
	Stopped    protocol.Stopped
	Acted      []time.Duration // when each action was, the first at 0, and last the halt; fewer than asked for if it ended before
	// Within is how near an action's time all is that it changes: so much before it a position is released, and so much
	// after it driven at most. 0: the adapter's firmware is older, and what an action changes may be some 10 µs apart.
	Within time.Duration
	Edges  []Edge
	Volts  float64   // at the pin asked for; NaN for none
	High   part.Pins // that read high once that was measured
}

// WatchGap is the longest gap of an edge that is seen in time: what is longer comes from
// a look at the current, the adapter's clock, or an action.
const WatchGap = time.Microsecond

// Watch watches a pin of the powered chip. What is set last stays. When it fails the
// socket has been made safe. ErrCannot where the adapter has no engine for it.
func (s *Seat) Watch(ctx context.Context, w Watch) (Watched, error) {
	w.Actions = slices.Clone(w.Actions)
	for i := range w.Actions {
		w.Actions[i] = s.acted(w.Actions[i])
	}
	if w.Halt != nil {
		halt := s.acted(*w.Halt)
		w.Halt = &halt
	}
	return s.adapter.watch(ctx, w, s.unsupplied, s.frame(), func(pin int) int { return PositionOf(pin, s.Pins) })
}

// acted is an action with the supply pins as they are held.
func (s *Seat) acted(w WatchAction) WatchAction {
	w.Step = s.held(w.Step)
	for _, p := range []*Pull{&w.Bias, &w.Load} {
		if p.On {
			p.Up = p.Up.With(s.VCC, true).With(s.GND, false)
		}
	}
	return w
}

// ProbeWatch watches in a socket without supply, by its positions, 1 to 28, as if they were the
// pins of a 28-pin package: see Probe.
func (s *Seat) ProbeWatch(ctx context.Context, w Watch) (Watched, error) {
	return s.adapter.watch(ctx, w, true, byPosition, func(position int) int { return position })
}

func (a *Adapter) watch(ctx context.Context, w Watch, unpowered bool, f frame, position func(pin int) int) (Watched, error) {
	if err := a.watchable(w); err != nil {
		return Watched{}, a.fail(err)
	}
	asked := func(w WatchAction) protocol.WatchAction {
		return protocol.WatchAction{
			AtUS: uint32(w.At.Microseconds()), Direction: uint32(f.word(w.Driven)), Level: uint32(f.word(w.Drive)),
			Bias: w.Bias.in(f), Load: w.Load.in(f),
		}
	}
	request := protocol.Watch{
		Unpowered: unpowered, Watched: uint8(position(w.Pin)), UntilUS: uint32(w.Until.Microseconds()),
		Edges: uint8(w.Edges), Averaging: uint8(w.Averaging),
	}
	if w.Edges == 0 {
		request.Edges = protocol.MostEdges
	}
	if w.Measure != 0 {
		request.Measured = uint8(position(w.Measure))
	}
	for _, action := range w.Actions {
		request.Actions = append(request.Actions, asked(action))
	}
	last := request.Actions[len(request.Actions)-1]
	if w.Halt != nil {
		halt := asked(*w.Halt)
		halt.AtUS = 0
		request.Halt = &halt
	}
	var reply protocol.WatchReply
	work := w.Until + a.watchedVolts(w, position)
	if err := a.call(ctx, &request, &reply, work); err != nil {
		return Watched{}, err
	}
	a.worked += work
	if reply.Stopped == protocol.StoppedByHalt && request.Halt != nil {
		last = *request.Halt
	} else if n := len(reply.Acted); n > 0 && n < len(request.Actions) {
		last = request.Actions[n-1]
	}
	a.pulls = protocol.Pulls{Bias: last.Bias, Load: last.Load}
	return a.watchedOf(&reply, w, f), nil
}

func (a *Adapter) watchedOf(reply *protocol.WatchReply, w Watch, f frame) Watched {
	watched := Watched{Begin: reply.Begin, End: reply.End, Stopped: reply.Stopped, Within: ofSixteenths(uint32(reply.Within)), Volts: math.NaN(), High: f.pins(Word(reply.Sample))}
	for _, t := range reply.Acted {
		watched.Acted = append(watched.Acted, ofSixteenths(t))
	}
	high := reply.Begin
	for _, e := range reply.Edges {
		high = !high
		watched.Edges = append(watched.Edges, Edge{ofSixteenths(e.At), ofSixteenths(uint32(e.Gap)), high})
	}
	if w.Measure != 0 {
		watched.Volts = a.scale * float64(reply.Millivolts) / 1000
	}
	return watched
}

// ofSixteenths is a time of so many sixteenths of a microsecond.
func ofSixteenths(n uint32) time.Duration { return time.Duration(n) * time.Microsecond / 16 }

// watchedVolts is how long the voltage of a watch may take.
func (a *Adapter) watchedVolts(w Watch, position func(pin int) int) time.Duration {
	switch c := a.Capabilities; {
	case w.Measure == 0:
		return 0
	case c.near().Has(position(w.Measure)):
		return (1<<w.Averaging + 2) * c.Conversion // SPEC.md, WATCH
	default:
		return (1<<w.Averaging + 2) * c.FarConversion
	}
}

// watchable refuses what no request can hold.
func (a *Adapter) watchable(w Watch) error {
	switch {
	case !a.Capabilities.Watch:
		return fmt.Errorf("%w time the edges of a pin: its firmware is older", ErrCannot)
	case len(w.Actions) < 1 || len(w.Actions) > protocol.MostActions:
		return fmt.Errorf("%w act %d times in a watch: it can 1 to %d times", ErrCannot, len(w.Actions), protocol.MostActions)
	case w.Edges < 0 || w.Edges > protocol.MostEdges:
		return fmt.Errorf("%w time %d edges at once: it can up to %d", ErrCannot, w.Edges, protocol.MostEdges)
	case w.Averaging < 0 || w.Averaging > protocol.MostAveraging:
		return fmt.Errorf("%w average 2^%d conversions: it can up to 2^%d", ErrCannot, w.Averaging, protocol.MostAveraging)
	case w.Until < time.Microsecond || w.Until > a.Capabilities.MaxBusy:
		return fmt.Errorf("%w watch for %v: it can up to %v", ErrCannot, w.Until, a.Capabilities.MaxBusy)
	}
	actions := w.Actions
	if w.Halt != nil {
		actions = append(actions[:len(actions):len(actions)], *w.Halt)
	}
	for _, action := range actions {
		if err := a.pullable(action.Bias.On, action.Load.On); err != nil {
			return err
		}
	}
	return nil
}

// ConversionTime is how long one conversion of a pin's voltage takes.
func (s *Seat) ConversionTime(pin int) time.Duration {
	if c := s.adapter.Capabilities; !c.near().Has(PositionOf(pin, s.Pins)) {
		return c.FarConversion
	}
	return s.adapter.Capabilities.Conversion
}
