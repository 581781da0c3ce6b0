package function

import (
	"context"
	"fmt"
	"slices"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/fault"
	"chipassay/vectors/part"
	"chipassay/vectors/signature"
	"chipassay/vectors/stimulus"
)

// An observer reads back the steps of a sequence: where the adapter has an
// engine, by signatures, and what differs step by step.
type observer struct {
	ctx     context.Context
	socket  Socket
	sensed  part.Pins
	swept   []int           // the pins that the steps sweep; nil where they or the adapter do not, or it is not to
	walks   bool            // the adapter walks
	steps   []stimulus.Step // in the order at hand
	settle  time.Duration   // of the engines
	usual   time.Duration   // of steps one by one
	atLeast time.Duration   // what a wrong signature stands for is looked for that long

	// Of the round at hand:
	signed int            // readbacks taken as expected because their signature was
	passed []adapter.Span // steps with a wrong signature that then read right
	wrong  bool           // some reading was not a good chip's
}

func newObserver(ctx context.Context, socket Socket, v Vectors) *observer {
	can := socket.Can()
	o := &observer{ctx: ctx, socket: socket, sensed: can.Sense, steps: v.Sequence.Steps, settle: settleOf(v), usual: v.usualWait(), atLeast: v.AtLeast}
	if !v.EveryReadback {
		if o.walks = can.Walk; can.Sweep {
			o.swept = sweptPins(o.steps)
		}
	}
	return o
}

// round reads back all steps, in the order at hand, under both levels of the bias rail.
func (o *observer) round() (observed []fault.Observation, err error) {
	o.signed, o.passed, o.wrong = 0, nil, false
	down, err := o.under(adapter.Low) // the level at which the supply came: nothing is to be set
	if err != nil {
		return nil, err
	}
	up, err := o.under(adapter.High)
	for i := range min(len(up), len(down)) {
		observed = append(observed, fault.Observation{PulledUp: up[i], PulledDown: down[i]})
	}
	if err == nil && len(observed) != len(o.steps) {
		err = fmt.Errorf("the adapter answered %d of %d steps", len(observed), len(o.steps))
	}
	return observed, err
}

// comparison says how the readbacks of the round were compared.
func (o *observer) comparison() string {
	if o.signed == 0 {
		return "every readback"
	}
	penalty := "no aliasing penalty"
	if p := signature.Penalty(signature.Degree); p > 0 {
		penalty = fmt.Sprintf("aliasing penalty %.0f %%, MIL-STD-883 method 5012", 100*p)
	}
	return fmt.Sprintf("%d of %d readbacks compared by %d-bit signature (%s)", o.signed, 2*len(o.steps), signature.Degree, penalty)
}

// leastSigned is how many steps are worth an engine.
const leastSigned = 64

// settleOf is what a step of an engine waits before it is read: where all outputs drive both
// ways, no longer than they need.
func settleOf(v Vectors) time.Duration {
	loose := slices.ContainsFunc(v.Type.Variant.Pins, func(pin part.Pin) bool {
		return pin.Observable() && pin.Stage != part.TotemPole
	})
	if loose {
		return v.usualWait()
	}
	return v.ShortWait()
}

// under reads back all steps under one level of the bias rail.
func (o *observer) under(bias adapter.Pull) (read []part.Pins, err error) {
	switch {
	case o.swept != nil:
		read, err = o.sweep(bias)
	case o.walks:
		read, err = o.walk(bias)
	default:
		read, err = o.apply(o.steps, bias)
	}
	o.wrong = o.wrong || o.differs(o.steps[:min(len(read), len(o.steps))], read, bias)
	return read, err
}

// apply reads back steps one by one.
func (o *observer) apply(steps []stimulus.Step, bias adapter.Pull) ([]part.Pins, error) {
	if o.usual == adapter.DefaultSettle {
		return o.socket.Apply(o.ctx, steps, bias)
	}
	return o.socket.ApplySettling(o.ctx, steps, bias, o.usual)
}

// sweptPins gives the pins that steps sweep, where they are worth an engine; else nil.
func sweptPins(steps []stimulus.Step) []int {
	pins, ok := stimulus.Swept(steps)
	if !ok || len(steps) < leastSigned || alike(steps) < len(steps) {
		return nil
	}
	return pins
}

// alike counts the steps at the front that drive and compare the same pins.
func alike(steps []stimulus.Step) int {
	n := slices.IndexFunc(steps, func(st stimulus.Step) bool {
		return st.Driven != steps[0].Driven || st.Compared != steps[0].Compared
	})
	if n < 0 {
		return len(steps)
	}
	return n
}

// sweep reads back a sweep; blocks that differ are applied step by step.
func (o *observer) sweep(bias adapter.Pull) ([]part.Pins, error) {
	e := o.expected(o.steps, bias)
	wrong, err := o.socket.Sweep(o.ctx, o.steps, o.swept, o.settle, e, bias)
	if err != nil {
		return nil, err
	}
	o.signed += len(o.steps)
	for _, span := range wrong {
		read, err := o.readBack(span, span, bias)
		o.signed -= span.To - span.From
		if err != nil {
			return e.High[:span.From], err
		}
		copy(e.High[span.From:], read)
	}
	return e.High, nil
}

// walk reads back steps in stretches that drive and compare the same pins. From
// the first stretch that differs on, the whole walk is applied step by step: a
// state is reached from the beginning only.
func (o *observer) walk(bias adapter.Pull) (read []part.Pins, err error) {
	signed := 0
	for from := 0; from < len(o.steps); {
		to := from + alike(o.steps[from:])
		stretch := o.steps[from:to]
		if to-from < leastSigned {
			few, err := o.apply(stretch, bias)
			read = append(read, few...)
			if err != nil {
				return read, err
			}
			from = to
			continue
		}
		e := o.expected(stretch, bias)
		right, err := o.socket.Walk(o.ctx, stretch, o.settle, e, bias)
		switch {
		case err != nil:
			return read, err
		case !right:
			return o.readBack(adapter.Span{From: 0, To: len(o.steps)}, adapter.Span{From: from, To: to}, bias)
		}
		signed += to - from
		read = append(read, e.High...)
		from = to
	}
	o.signed += signed
	return read, nil
}

// readBack applies a span of steps one by one, for suspect steps in it that had a
// wrong signature. Where these read right after all it does so again, while there
// is time: what comes and goes may come, and names its pins.
func (o *observer) readBack(span, suspect adapter.Span, bias adapter.Pull) (read []part.Pins, err error) {
	for until := o.socket.Spent() + o.atLeast; ; {
		read, err = o.apply(o.steps[span.From:span.To], bias)
		switch {
		case err != nil, len(read) < suspect.To-span.From:
			return read, err
		case o.differs(o.steps[span.From:span.To], read, bias):
			return read, nil
		case o.socket.Spent() >= until:
			o.passed = append(o.passed, suspect)
			return read, nil
		}
	}
}

// differs reports whether some reading of steps is not a good chip's.
func (o *observer) differs(steps []stimulus.Step, read []part.Pins, bias adapter.Pull) bool {
	for i, st := range steps {
		if high, mask := o.expect(st, bias); (read[i]^high)&mask != 0 {
			return true
		}
	}
	return false
}

// expect is what a good chip reads in a step, at the pins of mask: its outputs,
// released ones at the bias rail, and what is driven and sensed as it is driven.
func (o *observer) expect(st stimulus.Step, bias adapter.Pull) (high, mask part.Pins) {
	driven := st.Driven & o.sensed
	high = st.High&^st.Z | st.Drive&driven
	if bias == adapter.High {
		high |= st.Z
	}
	return high, st.Compared | driven
}

// expected is that for steps that drive and compare the same pins.
func (o *observer) expected(steps []stimulus.Step, bias adapter.Pull) adapter.Expected {
	e := adapter.Expected{High: make([]part.Pins, len(steps))}
	for i, st := range steps {
		e.High[i], e.Mask = o.expect(st, bias)
	}
	return e
}
