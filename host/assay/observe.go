package assay

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

// observe applies all steps under both levels of the bias rail.
func (r *Result) observe(ctx context.Context, socket Socket, p Plan) (observed []fault.Observation, err error) {
	o := observerOf(ctx, socket, p)
	up, err := o.under(adapter.High)
	if err != nil {
		return nil, err
	}
	down, err := o.under(adapter.Low)
	for i := range min(len(up), len(down)) {
		observed = append(observed, fault.Observation{PulledUp: up[i], PulledDown: down[i]})
	}
	if err == nil && len(observed) != len(o.steps) {
		err = fmt.Errorf("the adapter answered %d of %d steps", len(observed), len(o.steps))
	}
	r.Unsteady = o.unsteady
	r.Comparison = "every readback"
	if o.signed > 0 {
		r.Comparison = fmt.Sprintf("%d of %d readbacks by signatures of %d bits, for which MIL-STD-883 method 5012 takes %.0f %% off the coverage",
			o.signed, 2*len(o.steps), signature.Degree, 100*signature.Penalty(signature.Degree))
	}
	return observed, err
}

// observerOf makes the observer of a plan.
func observerOf(ctx context.Context, socket Socket, p Plan) *observer {
	o := &observer{ctx: ctx, socket: socket, steps: p.Sequence.Steps, settle: settleOf(p)}
	if engine, ok := socket.(Engine); ok && !p.EveryReadback {
		o.engine = engine
		sweeps := false
		if sweeps, o.walks = engine.Engines(); sweeps {
			o.swept = sweptPins(o.steps)
		}
	}
	return o
}

// An observer reads back the steps of a sequence: where the adapter has an
// engine, by signatures, and what differs step by step.
type observer struct {
	ctx      context.Context
	socket   Socket
	engine   Engine // nil where there is none, or none is wanted
	swept    []int  // the pins that the steps sweep, nil where they or the engine do not
	walks    bool
	steps    []stimulus.Step
	settle   time.Duration
	signed   int // readbacks taken as expected because their signature was
	unsteady int // steps in blocks with a wrong signature that then read rightly
}

// What a step of an engine waits before it is read: the slowest function of the
// family with its output, or an undriven position's ten time constants of 10 kΩ
// and 50 pF. From memory of the data books' propagation delays at 5 V.
const (
	quickSettle = 500 * time.Nanosecond // TTL, 74HC
	slowSettle  = 3 * time.Microsecond  // 4000 series, 74C
	looseSettle = adapter.DefaultSettle // where outputs let go
	leastSigned = 64                    // steps that are worth an engine
)

func settleOf(p Plan) time.Duration {
	loose := slices.ContainsFunc(p.Type.Variant.Pins, func(pin part.Pin) bool {
		return pin.Observable() && pin.Stage != part.TotemPole
	})
	switch {
	case loose:
		return looseSettle
	case p.Type.Family.Series4000() || p.Type.Family.Name == "74C":
		return slowSettle
	}
	return quickSettle
}

// under reads back all steps under one level of the bias rail.
func (o *observer) under(bias adapter.Rail) ([]part.Pins, error) {
	switch {
	case o.swept != nil:
		return o.sweep(bias)
	case o.walks:
		return o.walk(bias)
	}
	return o.socket.Apply(o.ctx, o.steps, bias)
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
func (o *observer) sweep(bias adapter.Rail) ([]part.Pins, error) {
	e := o.expected(o.steps, bias)
	wrong, err := o.engine.Sweep(o.ctx, o.steps, o.swept, o.settle, e, bias)
	if err != nil {
		return nil, err
	}
	o.signed += len(o.steps)
	for _, span := range wrong {
		read, err := o.socket.Apply(o.ctx, o.steps[span.From:span.To], bias)
		o.signed -= span.To - span.From
		if err != nil {
			return e.High[:span.From], err
		}
		o.compare(e.Mask, e.High[span.From:span.To], read)
		copy(e.High[span.From:], read)
	}
	return e.High, nil
}

// walk reads back steps in stretches that drive and compare the same pins. From
// the first stretch that differs on, the whole walk is applied step by step: a
// state is reached from the beginning only.
func (o *observer) walk(bias adapter.Rail) (read []part.Pins, err error) {
	signed := 0
	for from := 0; from < len(o.steps); {
		to := from + alike(o.steps[from:])
		stretch := o.steps[from:to]
		if to-from < leastSigned {
			few, err := o.socket.Apply(o.ctx, stretch, bias)
			read = append(read, few...)
			if err != nil {
				return read, err
			}
			from = to
			continue
		}
		e := o.expected(stretch, bias)
		right, err := o.engine.Walk(o.ctx, stretch, o.settle, e, bias)
		switch {
		case err != nil:
			return read, err
		case !right:
			all, err := o.socket.Apply(o.ctx, o.steps, bias)
			if len(all) >= to {
				o.compare(e.Mask, e.High, all[from:to])
			}
			return all, err
		}
		signed += to - from
		read = append(read, e.High...)
		from = to
	}
	o.signed += signed
	return read, nil
}

// compare counts steps that were to be wrong and are right after all.
func (o *observer) compare(mask part.Pins, expected, read []part.Pins) {
	for i := range expected {
		if (expected[i]^read[i])&mask != 0 {
			return
		}
	}
	o.unsteady += len(expected)
}

// expected is what a good chip reads: its outputs, released ones at the bias
// rail, and what is driven and sensed as it is driven.
func (o *observer) expected(steps []stimulus.Step, bias adapter.Rail) adapter.Expected {
	driven := steps[0].Driven & o.socket.Sensed()
	e := adapter.Expected{Mask: steps[0].Compared | driven, High: make([]part.Pins, len(steps))}
	for i, st := range steps {
		e.High[i] = st.High&^st.Z | st.Drive&driven
		if bias == adapter.High {
			e.High[i] |= st.Z
		}
	}
	return e
}
