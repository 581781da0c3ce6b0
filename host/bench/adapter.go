package bench

import (
	"context"
	"errors"
	"math"
	"time"

	"chipassay/host/adapter"
	"chipassay/host/calibration"
	"chipassay/host/selfcheck"
	"chipassay/host/virtual"
)

// A Check is the adapter's check of itself, going on or done.
type Check struct {
	Building string            // the group that was soldered in last; empty: the adapter is finished
	Report   *selfcheck.Report // nil while it goes on, and where it came to none
	Why      string            // why it came to none
}

// A Calibration is the last calibration, going on or done.
type Calibration struct {
	Order  CalibrationOrder
	Result *calibration.Result // nil while it goes on, and where nothing was changed
	Forgot bool                // the constants were erased
	Why    string              // why nothing was changed
}

// A CalibrationOrder is a calibration that is asked for.
type CalibrationOrder struct {
	calibration.Resistor
	SupplyVolts float64 // by the person's meter; 0 where it was not measured
}

// A Reading is what an adapter reports of itself.
type Reading struct {
	When        time.Time
	Rail        float64 // V of its 5 V rail; not a number where no reference is fitted
	BehindShunt float64 // V of the chip's supply behind fuse and shunt; likewise
	Reset       string  // cause of its last reset
	Frames      int     // that it received since
	Damaged     int     // of which so many were damaged
	Pressed     bool    // the button
	Constants   *adapter.Calibration
}

// Measured reports whether the supply's voltage is known.
func (r Reading) Measured() bool { return !math.IsNaN(r.Rail) }

// stopped is what is said of a work that was stopped before it came to anything.
const stopped = "it was stopped; the supply is off"

// Measure has the adapter report its supply's voltage and what else it knows of itself.
func (b *Bench) Measure() error {
	return b.begin(Measuring, func(*State, *work) error { return nil }, func(ctx context.Context, _ *work) error {
		r, err := read(ctx, b.adapter)
		if err == nil {
			b.change(func(s *State) { s.Reading = r })
		}
		return err
	})
}

func read(ctx context.Context, a *adapter.Adapter) (*Reading, error) {
	status, err := a.Status(ctx)
	if err != nil {
		return nil, err
	}
	r := &Reading{
		When: time.Now(), Reset: status.ResetCause.String(), Pressed: status.Button,
		Frames: int(status.Frames), Damaged: int(status.Damaged) + int(status.Oversize),
	}
	if r.Rail, r.BehindShunt, err = a.Supply(ctx); err != nil {
		return nil, err
	}
	if a.Capabilities.Measured == 0 {
		return r, nil
	}
	k, err := a.Calibration(ctx)
	r.Constants = &k
	return r, err
}

// Check checks the adapter, whose socket must be empty; a virtual chip is taken out.
// Building is the group that was soldered in last, empty for an adapter that is finished.
func (b *Bench) Check(building string) error {
	options, err := selfcheck.Built(building)
	if err != nil {
		return refused("%v", err)
	}
	return b.begin(Checking, func(s *State, _ *work) error {
		if b.socket != nil {
			b.socket.Swap(nil)
		}
		s.Check = &Check{Building: building}
		return nil
	}, func(ctx context.Context, _ *work) error {
		options.Progress = b.progress
		report, err := selfcheck.Check(ctx, b.adapter, options)
		b.change(func(s *State) { s.Check = &Check{building, report, why(ctx, err)} })
		return beyond(err)
	})
}

// Calibrate finds the constants of the adapter by a known resistor in its socket, and has
// the adapter keep them. At the virtual adapter that resistor is put in.
func (b *Bench) Calibrate(o CalibrationOrder) error {
	if err := o.Seatable(); err != nil {
		return refused("%v", err)
	}
	if !(o.Ohms >= calibration.LeastOhms && o.Ohms <= calibration.MostOhms) {
		return refused("give the resistor as your meter shows it: %.0f to %.0f Ω, best 1,000 to 2,400", calibration.LeastOhms, calibration.MostOhms)
	}
	return b.calibrating(func(ctx context.Context, c *Calibration) (err error) {
		c.Order = o
		if b.socket != nil {
			b.socket.SwapResistor(virtual.Resistor{Ohms: o.Ohms, P: o.P, Q: o.Q})
			defer b.socket.Swap(nil)
		}
		result, err := calibration.Keep(ctx, b.adapter, o.Resistor, o.SupplyVolts)
		if err == nil {
			c.Result = &result
		}
		return err
	})
}

// Forget has the adapter go back to the values of its design.
func (b *Bench) Forget() error {
	return b.calibrating(func(ctx context.Context, c *Calibration) error {
		err := b.adapter.ForgetCalibration(ctx)
		c.Forgot = err == nil
		return err
	})
}

// calibrating is a work that changes the adapter's constants, which are read again then.
func (b *Bench) calibrating(do func(ctx context.Context, c *Calibration) error) error {
	return b.begin(Calibrating, func(s *State, _ *work) error {
		s.Calibration = nil
		return nil
	}, func(ctx context.Context, _ *work) error {
		var c Calibration
		err := do(ctx, &c)
		c.Why = why(ctx, err)
		r, readErr := read(context.WithoutCancel(ctx), b.adapter)
		b.change(func(s *State) {
			if s.Calibration = &c; readErr == nil {
				s.Reading = r
			}
		})
		return beyond(err)
	})
}

// why puts into words why a work came to nothing; empty where it came to something.
func why(ctx context.Context, err error) string {
	switch {
	case err == nil:
		return ""
	case ctx.Err() != nil:
		return stopped
	}
	return plain(err)
}

// beyond is an error that concerns more than the work: what the work itself came to is
// shown in its place.
func beyond(err error) error {
	if errors.Is(err, selfcheck.ErrOccupied) || errors.Is(err, calibration.ErrImplausible) || errors.Is(err, adapter.ErrCannot) {
		return nil
	}
	return err
}
