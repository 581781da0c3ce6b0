// Package calibration finds the constants that make an adapter's measurements
// right, from one resistor of known value. If the adapter has no 2.500 V reference, it
// also needs a voltmeter's reading of the 5 V.
//
// What is found from what:
//
//   - The converter's gain and offset need no reference. A position has three
//     resistors, bias, load and drive, and any two of them divide the supply in
//     their ratio. Three divisions depend on two ratios, so they agree at only one
//     gain. All channels share one converter, so the gain is the mean over the channels.
//     Without the load resistors there is one division, and the gain stays. Drive
//     against bias, both ways, sum to the supply, which gives the offset of each channel.
//     The load is not used there, because its register pulls down better than up.
//   - Ohms need the known resistor R between two positions P and Q. With P driven
//     and Q held, the current is (VP - VQ) / R, and what holds Q has the voltage at
//     Q over that current: the driver, the load or the bias resistor, each with the
//     output behind it. Each is measured at both ends and at both levels, and the mean
//     is kept. So the constants are those of P and Q; host/selfcheck compares the others
//     with each other.
//   - Volts need the supply's voltage, because the converter measures fractions of it.
//     It comes from the reference, or from the user's meter. Fractions and ohms are found
//     without it.
//   - The shunt needs R across the supply, and volts. The loads at P are put in parallel
//     with R for more current: the monitor counts in steps of 100 µA, and its reading
//     includes the 1.9 mA base current of the switch. 10 mA give 1 %, besides 1 % from
//     the base. If P and Q have no supply switches, or no voltage is known, the gain
//     stays.
//
// A count of the near converter is 4.9 mV, and a result is off by about half a count
// over the voltage that it comes from. For R from 1 to 2.4 kΩ that is at most 1.5 % of
// the bias, 0.8 % of the load and 3 % of the drive, besides the tolerance of R itself;
// 0.15 % of the gain if resistors differ by 1 %, and 0.35 % if they do not.
package calibration

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// ErrImplausible is a measurement from which nothing can be concluded, with the reason.
var ErrImplausible = errors.New("not a calibration")

// What R may be, Ω: smaller ones leave too little voltage beside the bias
// resistor, larger ones too little current through the drive.
const (
	LeastOhms = 470.0
	MostOhms  = 4_700.0
)

const (
	settle       = 500 * time.Microsecond
	averaging    = 6 // 64 conversions
	limitMA      = 50
	stepMA       = 0.1 // of the monitor
	baseOhms     = 2_225.0
	baseVolts    = 0.75 // of the switch's base
	baseSpread   = 0.05 // of what its base takes: the tolerance of its resistor
	leastShuntMA = 5.0  // below, the steps and the base's current are more than 2 %
)

// A Resistor is the known one, and where it is.
type Resistor struct {
	Ohms float64
	P, Q int // socket positions
}

// A Result is what a calibration found; nothing of it is kept yet.
type Result struct {
	Old, New adapter.Calibration
	Supply   string // where New's supply voltage is from
	Shunt    string // likewise its shunt gain, and what that is good to
	Gain     string // likewise the gain of the near converter
	Load     string // likewise the load resistors
}

// A bench is one calibration.
type bench struct {
	ctx      context.Context
	adapter  *adapter.Adapter
	seat     *adapter.Seat
	r        Resistor
	old      adapter.Calibration
	channels map[int]converter // as found
}

// Find measures what R shows. SupplyVolts is the supply's voltage by the user's
// meter; 0 leaves it to the adapter's reference, or as it is where there is none. Errors are ErrImplausible with the reason, or the
// adapter's. The socket is safe when it returns, and the adapter keeps what it kept.
func Find(ctx context.Context, a *adapter.Adapter, r Resistor, supplyVolts float64) (Result, error) {
	b := &bench{ctx: ctx, adapter: a, r: r, channels: map[int]converter{}}
	if err := b.accept(supplyVolts); err != nil {
		return Result{}, err
	}
	result, err := b.find(supplyVolts)
	if off := b.seat.PowerOff(context.WithoutCancel(ctx)); err == nil {
		err = off
	}
	if err != nil {
		return Result{}, err
	}
	return result, nil
}

// Keep finds the constants and has the adapter keep them. New is what it has kept then;
// after an error nothing was changed.
func Keep(ctx context.Context, a *adapter.Adapter, r Resistor, supplyVolts float64) (Result, error) {
	result, err := Find(ctx, a, r, supplyVolts)
	if err != nil {
		return Result{}, fmt.Errorf("nothing was changed: %w", err)
	}
	if err := a.SetCalibration(ctx, result.New); err != nil {
		return Result{}, err
	}
	result.New, err = a.Calibration(ctx)
	return result, err
}

// Seatable refuses positions between which nothing can be.
func (r Resistor) Seatable() error {
	if min(r.P, r.Q) < 1 || max(r.P, r.Q) > adapter.Positions || r.P == r.Q {
		return fmt.Errorf("the resistor is between two socket positions from 1 to %d", adapter.Positions)
	}
	return nil
}

// accept refuses what cannot work, before anything is driven.
func (b *bench) accept(supplyVolts float64) (err error) {
	r, c := b.r, b.adapter.Capabilities
	switch {
	case c.Measured == 0 || c.Bias == 0:
		return fmt.Errorf("%w be calibrated: no bias registers were found; run adapter check", adapter.ErrCannot)
	case !(r.Ohms >= LeastOhms && r.Ohms <= MostOhms):
		return fmt.Errorf("%w: the resistor must have %.0f to %.0f Ω, best 1,000 to 2,400, not %g", ErrImplausible, LeastOhms, MostOhms, r.Ohms)
	case r.P == r.Q:
		return fmt.Errorf("%w: the resistor must be between two different positions", ErrImplausible)
	case supplyVolts != 0 && !(supplyVolts >= 4.5 && supplyVolts <= 5.5):
		return fmt.Errorf("%w: the adapter works from 4.5 to 5.5 V, not %g V", ErrImplausible, supplyVolts)
	}
	for _, p := range []int{r.P, r.Q} {
		if near := c.Measured &^ c.Far; p < 1 || p > adapter.Positions || !near.Has(p) {
			return fmt.Errorf("%w: position %d is not measured by the microcontroller's own converter; these are: %v", ErrImplausible, p, near)
		}
	}
	if b.seat, err = b.adapter.Seat(b.pins(), b.pin(b.high()), b.pin(b.low())); err == nil {
		return nil
	}
	for p := range c.SupplyHigh.Positions() { // any other will do: it is not supplied
		for q := range c.SupplyLow.Positions() {
			if b.seat, err = b.adapter.Seat(b.pins(), b.pin(p), b.pin(q)); err == nil {
				return nil
			}
		}
	}
	return err
}

// pins is how many pins a package has that touches all positions that are there.
func (b *bench) pins() int {
	if b.adapter.Capabilities.Positions == adapter.All {
		return adapter.Positions
	}
	return 16
}

// pin is the pin of that package at a position.
func (b *bench) pin(position int) int {
	if position > adapter.Positions/2 {
		return position - adapter.Positions + b.pins()
	}
	return position
}

// loaded reports whether the load resistors are there.
func (b *bench) loaded() bool { return b.adapter.Capabilities.Load != 0 }

// high and low are R's ends in the order in which the supply can be put across it, if it can.
func (b *bench) high() int {
	if c := b.adapter.Capabilities; c.SupplyHigh.Has(b.r.P) && c.SupplyLow.Has(b.r.Q) {
		return b.r.P
	}
	return b.r.Q
}

func (b *bench) low() int { return b.r.P + b.r.Q - b.high() }

// suppliable reports whether the supply can be put across R.
func (b *bench) suppliable() bool {
	c := b.adapter.Capabilities
	return c.Monitor && c.SupplyHigh.Has(b.high()) && c.SupplyLow.Has(b.low())
}

func (b *bench) find(supplyVolts float64) (r Result, err error) {
	if b.old, err = b.adapter.Calibration(b.ctx); err != nil {
		return r, err
	}
	if err := b.inserted(); err != nil {
		return r, err
	}
	r = Result{Old: b.old, New: b.old}
	known := true
	switch rail := b.adapter.RailVolts(); {
	case supplyVolts != 0:
		r.New.SupplyVolts, r.Supply = supplyVolts, "by the meter"
	case rail != 0:
		r.New.SupplyVolts, r.Supply = rail, "by the adapter's 2.500 V reference"
	default:
		r.Supply, known = "as before: no voltage was given, and no reference is fitted", false
	}
	if !b.loaded() {
		r.Gain, r.Load = "as before: no load resistors are fitted", "as before: none are fitted"
	}
	if r.New.Channels, err = b.converters(r.New.SupplyVolts); err != nil {
		return r, err
	}
	if err := b.resistors(&r.New); err != nil {
		return r, err
	}
	switch {
	case !known:
		r.Shunt = "as before: the supply's voltage is not known"
	case !b.suppliable():
		r.Shunt = "as before: the supply cannot be put across these positions"
	default:
		r.New.ShuntGain, r.Shunt, err = b.shunt(&r.New)
	}
	return r, err
}

// set gives a step with some positions driven, some of them high.
func (b *bench) set(driven, high part.Pins, bias, load adapter.Pull, measure part.Pins) adapter.MeasureStep {
	return adapter.MeasureStep{Step: stimulus.Step{Driven: driven, Drive: high}, Bias: bias, Load: load,
		Settle: settle, Pins: measure, Averaging: averaging}
}

// raw takes the old calibration, and the reference, off a measured voltage: the share
// of the supply that the converter saw.
func (b *bench) raw(position int, volts float64) float64 {
	if rail := b.adapter.RailVolts(); rail != 0 {
		volts *= b.old.SupplyVolts / rail
	}
	old, near := b.old.Channels[position]
	if !near {
		return volts / b.old.SupplyVolts
	}
	return (volts - float64(old.OffsetMV)/1000) / old.Gain / b.old.SupplyVolts
}

// inserted checks that R is where it should be, and that nothing else is in the socket.
func (b *bench) inserted() error {
	measured := part.Pins(0)
	for p := range b.adapter.Capabilities.Measured.Positions() {
		measured = measured.With(p, true)
	}
	const follows, stays = 0.4, 0.06 // share of the supply: 10 kΩ behind R and the drive, 10 kΩ alone
	for _, ends := range [][2]int{{b.r.P, b.r.Q}, {b.r.Q, b.r.P}} {
		driven := part.PinSet(ends[0])
		m, err := b.seat.ProbeMeasure(b.ctx, []adapter.MeasureStep{b.set(driven, driven, adapter.Low, adapter.Off, measured)})
		if err != nil {
			return err
		}
		if b.raw(ends[1], m[0].Volts[ends[1]]) < follows {
			return fmt.Errorf("%w: no resistor was found between positions %d and %d: seat it there, its ends clean", ErrImplausible, b.r.P, b.r.Q)
		}
		for p := range (measured &^ part.PinSet(b.r.P, b.r.Q)).All() {
			if b.raw(p, m[0].Volts[p]) > stays {
				return fmt.Errorf("%w: something else is in the socket: position %d follows position %d", ErrImplausible, p, ends[0])
			}
		}
	}
	return nil
}

// shunt compares the monitor with the current through R and the resistors beside it.
// Found is what was found so far.
func (b *bench) shunt(found *adapter.Calibration) (gain float64, source string, err error) {
	if _, err := b.seat.PowerOn(b.ctx, limitMA); err != nil {
		return 0, "", err
	}
	high, low := b.high(), b.low()
	pulls := []adapter.MeasureStep{b.set(0, 0, adapter.Low, adapter.Off, part.PinSet(high, low)), b.set(0, 0, adapter.Off, adapter.Off, part.PinSet(high, low))}
	siemens := []float64{1 / float64(found.BiasOhms), 0}
	if b.loaded() {
		pulls = append(pulls, b.set(0, 0, adapter.Low, adapter.Low, part.PinSet(high, low)), b.set(0, 0, adapter.Off, adapter.Low, part.PinSet(high, low)))
		siemens = append(siemens, 1/float64(found.BiasOhms)+1/float64(found.LoadOhms), 1/float64(found.LoadOhms))
	}
	for i := range pulls {
		pulls[i].Settle = 2 * adapter.CurrentSettle
	}
	m, err := b.seat.ProbeMeasure(b.ctx, pulls)
	if err != nil {
		return 0, "", err
	}
	base := 1000 * (found.SupplyVolts - baseVolts) / baseOhms
	read, flows, most := 0.0, 0.0, 0.0
	for i, step := range m {
		p, q := found.SupplyVolts*b.share(high, step.Volts), found.SupplyVolts*b.share(low, step.Volts)
		through := 1000 * ((p-q)/b.r.Ohms + p*siemens[i])
		read += step.CurrentMA / b.old.ShuntGain
		flows += through + base
		most = max(most, through)
	}
	if most < leastShuntMA {
		return b.old.ShuntGain, fmt.Sprintf("as before: %.1f mA is too little; a resistor of 1 kΩ or less gives more", most), nil
	}
	n := float64(len(m))
	gain = flows / read
	if !(math.Abs(gain-1) <= 0.05) {
		return 0, "", fmt.Errorf("%w: the monitor reads %.1f mA where %.1f flow, more than 5 %% off: look at the 0.1 Ω shunt, and at the voltage given",
			ErrImplausible, read/n, flows/n)
	}
	good := 100 * (stepMA/2 + baseSpread*base) / (flows / n)
	return gain, fmt.Sprintf("%.1f mA flowed, the monitor read %.1f; good to %.1f %%", flows/n, read/n, good), nil
}
