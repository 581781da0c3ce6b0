package selfcheck

import (
	"context"
	"errors"
	"math"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// What a step waits and averages: a position behind 10 kΩ with the 500 pF of a
// low-side switch, and a sense line's 4.7 kΩ, are at rest in 50 µs.
const (
	settle    = 100 * time.Microsecond
	averaging = 2  // 4 conversions
	limitMA   = 60 // far from the fuse, and several times what the check asks for
)

// A seen is what the adapter read under a condition.
type seen struct {
	sample  uint32 // by bit of position
	volts   [adapter.Positions + 1]float64
	current float64 // mA, with the base's; negative where nothing is monitored
	refused uint32  // positions whose switches the adapter found not to respond
	tripped bool    // more flowed than the limit
	looked  bool    // false: the condition was not set up
}

// pins counts the positions of a word of bits as if they were a package's pins.
func pins(word uint32) part.Pins { return part.Pins(word >> 1) }

func positionsIn(w adapter.Word) (word uint32) {
	for p := range w.Positions() {
		word |= bit(p)
	}
	return word
}

// unpowered are the conditions of a socket without supply: each position pulled and
// driven against the others, one after the other.
func unpowered(positions uint32, loaded bool) []condition {
	all := positions
	plan := []condition{
		{bias: true, measured: all},
		{bias: true, biasUp: all, measured: all},
	}
	if loaded {
		plan = append(plan,
			condition{load: true, measured: all},
			condition{load: true, loadUp: all, measured: all},
			condition{bias: true, load: true, biasUp: all, measured: all},
			condition{bias: true, load: true, loadUp: all, measured: all})
	}
	for i := range 5 { // each of two positions is in one of these sets without the other
		set := uint32(0)
		for p := 1; p <= adapter.Positions; p++ {
			set |= uint32(p>>i&1) << p
		}
		for _, s := range []uint32{set & all, all &^ set} {
			plan = append(plan, condition{driven: s, level: s, bias: true, measured: all},
				condition{driven: s, bias: true, biasUp: all, measured: all})
		}
	}
	for p := 1; p <= adapter.Positions; p++ {
		b := bit(p)
		if positions&b == 0 {
			continue
		}
		plan = append(plan, condition{bias: true, biasUp: b, measured: b})
		up := condition{driven: b, level: b, bias: true, measured: b}
		down := condition{driven: b, bias: true, biasUp: all, measured: b}
		if loaded {
			plan = append(plan, condition{load: true, loadUp: b, measured: b})
			up.bias, up.load = false, true
			down = condition{driven: b, load: true, loadUp: all, measured: b}
		}
		plan = append(plan, up, down)
	}
	return plan
}

// grounded are the conditions of the low-side switches: each closed alone, everything pulled up.
func grounded(positions, low uint32, loaded bool) (plan []condition) {
	for p := 1; p <= adapter.Positions; p++ {
		if low&bit(p) != 0 {
			c := condition{low: bit(p), bias: true, biasUp: positions, measured: positions}
			if loaded {
				c.load, c.loadUp = true, positions
			}
			plan = append(plan, c)
		}
	}
	return plan
}

// supplied are the conditions of the high-side switches: each closed with a low-side
// switch elsewhere, everything pulled down, which is their load.
func supplied(positions, high, low uint32, loaded bool) (plan []condition) {
	for p := 1; p <= adapter.Positions; p++ {
		if high&bit(p) == 0 {
			continue
		}
		// best where no switch to the supply may close with the one
		for _, may := range []uint32{low &^ high &^ bit(p), low &^ bit(p)} {
			if may != 0 {
				plan = append(plan, condition{high: p, low: may & -may, bias: true, load: loaded, measured: positions})
				break
			}
		}
	}
	return plan
}

// step is a condition's in the adapter's terms.
func (c *condition) step() adapter.MeasureStep {
	s := adapter.MeasureStep{
		Step:   stimulus.Step{Driven: pins(c.driven), Drive: pins(c.level)},
		Settle: settle, Pins: pins(c.measured), Averaging: averaging,
	}
	if c.bias {
		s.Bias = adapter.PullUp(pins(c.biasUp))
	}
	if c.load {
		s.Load = adapter.PullUp(pins(c.loadUp))
	}
	if c.high != 0 {
		s.Settle = 2 * adapter.CurrentSettle
	}
	return s
}

// A bench carries conditions out.
type bench struct {
	ctx     context.Context
	adapter *adapter.Adapter
	seat    *adapter.Seat // of a package that fills the socket, or of a starter's
}

// probe carries out conditions without supply.
func (b *bench) probe(plan []condition) ([]seen, error) {
	steps := make([]adapter.MeasureStep, len(plan))
	for i := range plan {
		steps[i] = plan[i].step()
	}
	measured, err := b.seat.ProbeMeasure(b.ctx, steps)
	if err != nil {
		return nil, err
	}
	found := make([]seen, len(measured))
	for i, m := range measured {
		found[i] = seen{sample: uint32(m.High) << 1, volts: m.Volts, current: m.CurrentMA, looked: true}
		for p := range found[i].volts {
			found[i].volts[p] *= rail / b.rail()
		}
	}
	return found, nil
}

// rail is what the adapter takes its 5 V for: what it measures are shares of it.
func (b *bench) rail() float64 {
	if v := b.adapter.RailVolts(); v != 0 {
		return v
	}
	c, err := b.seat.Constants(b.ctx)
	if err != nil || c.SupplyVolts == 0 {
		return rail
	}
	return c.SupplyVolts
}

// ground closes a low-side switch and looks.
func (b *bench) ground(c condition) (seen, error) {
	if err := b.seat.Ground(b.ctx, pins(c.low)); err != nil {
		return seen{}, err
	}
	found, err := b.probe([]condition{c})
	if err != nil {
		return seen{}, err
	}
	return found[0], nil
}

// supply closes a high-side switch and a low-side one, looks and opens them.
func (b *bench) supply(c condition) (seen, error) {
	low := 0
	for p := 1; p <= adapter.Positions; p++ {
		if c.low&bit(p) != 0 {
			low = p
		}
	}
	whole := b.seat
	defer func() { b.seat = whole }()
	seat, err := b.adapter.Seat(seatPins(b.adapter), pinOf(b.adapter, c.high), pinOf(b.adapter, low))
	if err != nil {
		return seen{}, err
	}
	b.seat = seat
	s := seen{current: -1}
	for i := range s.volts {
		s.volts[i] = math.NaN()
	}
	var fault *adapter.FaultError
	switch _, err = seat.PowerOn(b.ctx, limitMA); {
	case errors.As(err, &fault):
		s.refused = positionsIn(fault.Positions)
		return s, nil
	case errors.Is(err, adapter.ErrOverCurrent):
		s.tripped = true
		return s, nil
	case err != nil:
		return s, err
	}
	found, err := b.probe([]condition{c})
	switch {
	case errors.As(err, &fault), errors.Is(err, adapter.ErrOverCurrent):
		s.tripped = fault == nil
		return s, nil
	case err != nil:
		return s, err
	}
	status, err := b.adapter.Status(b.ctx)
	if err == nil && !status.Powered { // it tripped before the step, which needs no power
		s.tripped = true
		return s, nil
	}
	if err != nil {
		return s, err
	}
	return found[0], seat.PowerOff(b.ctx)
}

// seatPins is how many pins the largest package has that the adapter seats.
func seatPins(a *adapter.Adapter) int {
	if a.Capabilities.Positions == adapter.All {
		return adapter.Positions
	}
	return 16
}

// pinOf is the pin of that package at a position.
func pinOf(a *adapter.Adapter, position int) int {
	if n := seatPins(a); position > n/2 {
		return position - adapter.Positions + n
	}
	return position
}
