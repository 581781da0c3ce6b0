// Package selfcheck is the adapter's check of itself with an empty socket: every
// drive line, both rails at both levels, every sense line, every supply switch,
// the current monitor and the button. A fault names the line and what to look for
// on the board.
//
// It works from the released socket outwards, so that nothing is driven against
// a line that is held, and nothing is powered over one:
//
//  1. Nothing driven, the rails at each level, alone and against each other. Each
//     position must follow; what holds a position, or does not see it, shows here.
//  2. One position driven after the other: no other may follow. One that does is
//     joined to it by something in the socket, or by solder.
//  3. One position driven after the other against the load rail.
//  4. The supply on each high-side switch, and on each low-side switch, with the
//     rails as the load: 5 V over 1 kΩ and 10 kΩ must read as 5.5 mA.
//
// Resistors are compared with each other: a position's three, where it can be
// measured, give two ratios, which tell which one is off, not how far all are
// together. Positions without a sense line (L9-L14, R9-R14) are seen as levels
// alone, through their drive resistors.
package selfcheck

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// ErrOccupied is a socket with something in it.
var ErrOccupied = errors.New("something is in the socket")

// What a step waits and averages: a position behind 10 kΩ with 50 pF, and the
// sense line's 4.7 kΩ with the converter's 14 pF, are at rest in 10 µs.
const (
	settle    = 200 * time.Microsecond
	averaging = 4 // 16 conversions
	rounds    = 8 // of looking at levels: what floats does not read right so often
)

// A check is one run.
type check struct {
	ctx      context.Context
	adapter  *adapter.Adapter
	seat     *adapter.Seat // of a package that fills the socket
	measured part.Pins     // the positions that can be measured
	out      [kinds]outcome
	scale    float64 // of voltages, so that the supply that the adapter is calibrated to is 5 V

	released             [conditions]released
	biasWorks, loadWorks level     // levels that the rails reach
	biasHolds, loadHolds part.Pins // positions that follow the rail alone, at the levels that it reaches
	heldLow, heldHigh    part.Pins // whatever the rails are
	unseen               part.Pins // positions whose level or voltage is not to be relied on
	bridged              part.Pins // positions that touch another
	offValue             part.Pins // positions of which a resistor has another value
}

// A level tells which levels a rail reaches.
type level struct{ low, high bool }

func (l level) both() bool { return l.low && l.high }

// all are the socket's positions, as if they were a package's pins.
const all part.Pins = 1<<adapter.Positions - 1

// Check checks the adapter. The socket must be empty: ErrOccupied says what was
// seen where it is not. The socket is safe when it returns.
func Check(ctx context.Context, a *adapter.Adapter) (*Report, error) {
	c := &check{ctx: ctx, adapter: a}
	if err := c.understood(); err != nil {
		return nil, err
	}
	err := c.run()
	// A step leaves the socket as it was driven, after an error it is safe already.
	if off := c.seat.PowerOff(context.WithoutCancel(ctx)); err == nil {
		err = off
	}
	if err != nil {
		return nil, err
	}
	return reportOf(c.out), nil
}

// understood refuses an adapter of which it is not known what is where.
func (c *check) understood() error {
	k := c.adapter.Capabilities
	switch {
	case !strings.Contains(k.Board, "revision A"):
		return fmt.Errorf("%w be checked: only boards of revision A are known, not %q", adapter.ErrCannot, k.Board)
	case k.Positions != adapter.Positions || k.Bias == 0 || k.Load == 0 || k.Measured == 0:
		return fmt.Errorf("%w be checked: it has no rails, or measures no voltages (firmware before 1.1)", adapter.ErrCannot)
	}
	for p := range k.Measured.Positions() {
		c.measured = c.measured.With(p, true)
	}
	kept, err := c.adapter.Calibration(c.ctx)
	if err != nil {
		return err
	}
	c.scale = supplyVolts / kept.SupplyVolts
	c.seat, err = c.adapter.Seat(adapter.Positions, adapter.Positions, adapter.Positions/2)
	return err
}

func (c *check) run() error {
	if err := c.look(); err != nil {
		return err
	}
	c.judgeRails()
	if !c.biasWorks.both() && !c.loadWorks.both() {
		c.leave("no rail reaches both levels: repair the rails first", senses, drives, resistors, highSwitches, lowSwitches, monitor)
		return c.operator()
	}
	c.judgePositions()
	for _, part := range []func() error{c.joined, c.driveEach, c.supply, c.operator} {
		if err := part(); err != nil {
			return err
		}
	}
	return nil
}

// fault notes one.
func (c *check) fault(k kind, position int, line, found, look string) {
	c.out[k].faults = append(c.out[k].faults, Fault{Line: line, Position: position, Found: found, Look: look})
}

// leave notes why something was not checked.
func (c *check) leave(why string, kinds ...kind) {
	for _, k := range kinds {
		c.out[k].unchecked = why
	}
}

// operator looks at the button; the indicators are for the eye.
func (c *check) operator() error {
	s, err := c.adapter.Status(c.ctx)
	if err != nil {
		return err
	}
	if s.Button {
		c.fault(button, 0, "button line", "reads as pressed", "PE4 and the button: shorted to ground, if nobody pressed it")
	}
	c.out[button].good = "not pressed"
	c.leave("an open line looks the same: press it while chipassay adapter info runs, which tells", button)
	c.leave("nothing senses them: ready (PE3) must be lit now, busy (PE5) and power (PB7) must have flickered", indicators)
	return nil
}

// probe measures without supply. What is measured are shares of the supply: volts
// are those of one of 5 V.
func (c *check) probe(steps []adapter.MeasureStep) ([]adapter.Measured, error) {
	measured, err := c.seat.ProbeMeasure(c.ctx, steps)
	return c.scaled(measured), err
}

func (c *check) scaled(measured []adapter.Measured) []adapter.Measured {
	for i := range measured {
		for p := range measured[i].Volts {
			measured[i].Volts[p] *= c.scale
		}
	}
	return measured
}

// step drives some positions against the rails and measures.
func (c *check) step(driven, high part.Pins, bias, load adapter.Pull) adapter.MeasureStep {
	return adapter.MeasureStep{Step: stimulus.Step{Driven: driven, Drive: high}, Bias: bias, Load: load,
		Settle: settle, Pins: c.measured, Averaging: averaging}
}
