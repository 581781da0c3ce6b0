// Package calibration finds the constants that make an adapter's measurements
// right, from one resistor whose value is known and what a voltmeter says of the
// supply.
//
// What can be known from what:
//
//   - The converter's gain and offset need no reference. A position has three
//     resistors, bias, load and drive, and any two of them divide the supply in
//     their ratio. Three divisions depend on two ratios, so one is left over, and
//     there is one gain at which they agree. The two ways round of each division
//     sum to the supply, which gives the offset, channel by channel. The gain is
//     that of the one converter behind the channels, the mean of what they show.
//   - Ohms need the known resistor R between two positions P and Q. With P driven
//     and Q held, the current is (VP - VQ) / R, and what holds Q has the voltage at
//     Q over that current: the driver, the load or the bias resistor. Each is
//     taken at both ends and at both levels, and the mean is kept. So the
//     constants are those of P and Q; host/selfcheck compares the others with
//     each other.
//   - Volts need the supply's voltage, for the converter measures shares of it.
//     What the user's meter says is taken as it is. All shares and ohms are found
//     without it.
//   - The shunt needs R across the supply, and the supply's voltage: the current
//     that the monitor reads is compared with that through R. Where P and Q have no
//     supply switches, or no voltage was told, its gain stays.
//
// A count of the converter is 4.9 mV, and what is found is off by about half of
// one over the voltage that it was found from. For R from 1 to 2.4 kΩ that
// is 1.5 % of the bias, 0.8 % of the load and 3 % of the drive at most, beside
// the tolerance of R itself; 0.15 % of the gain where resistors differ by 1 %, and
// 0.35 % where they do not.
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
	supplyOhms   = 1.3 // shunt and switches, in series with R
	leastShuntMA = 2.0 // below, the monitor's 10 µA are more than 1/2 %
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
	Shunt    string // likewise its shunt gain
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
// meter; 0 leaves the old one. Errors are ErrImplausible with the reason, or the
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

// accept refuses what cannot work, before anything is driven.
func (b *bench) accept(supplyVolts float64) (err error) {
	r, c := b.r, b.adapter.Capabilities
	switch {
	case c.Measured == 0 || c.Bias == 0 || c.Load == 0:
		return fmt.Errorf("%w be calibrated: it has no rails, or measures no voltages (firmware before 1.1)", adapter.ErrCannot)
	case !(r.Ohms >= LeastOhms && r.Ohms <= MostOhms):
		return fmt.Errorf("%w: the resistor must have %.0f to %.0f Ω, best 1,000 to 2,400, not %g", ErrImplausible, LeastOhms, MostOhms, r.Ohms)
	case r.P == r.Q:
		return fmt.Errorf("%w: the resistor lies between two positions", ErrImplausible)
	case supplyVolts != 0 && !(supplyVolts >= 4.5 && supplyVolts <= 5.5):
		return fmt.Errorf("%w: the adapter works from 4.5 to 5.5 V, not %g V", ErrImplausible, supplyVolts)
	}
	for _, p := range []int{r.P, r.Q} {
		if p < 1 || p > adapter.Positions || !c.Measured.Has(p) {
			return fmt.Errorf("%w: position %d cannot be measured; these can: %v", ErrImplausible, p, c.Measured)
		}
	}
	if b.seat, err = b.adapter.Seat(adapter.Positions, b.high(), b.low()); err != nil {
		b.seat, err = b.adapter.Seat(adapter.Positions, adapter.Positions, adapter.Positions/2)
	}
	return err
}

// high and low are R's ends in the order in which the supply can be put across it, if it can.
func (b *bench) high() int {
	if c := b.adapter.Capabilities; c.SupplyHigh.Has(b.r.P) && c.SupplyLow.Has(b.r.Q) {
		return b.r.P
	}
	return b.r.Q
}

func (b *bench) low() int { return b.r.P + b.r.Q - b.high() }

// suppliable tells whether the supply can be put across R.
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
	r = Result{Old: b.old, New: b.old, Supply: "by the meter"}
	if r.New.SupplyVolts = supplyVolts; supplyVolts == 0 {
		r.New.SupplyVolts, r.Supply = b.old.SupplyVolts, "as before: no voltage was told"
	}
	if r.New.Channels, err = b.converters(r.New.SupplyVolts); err != nil {
		return r, err
	}
	if err := b.resistors(&r.New); err != nil {
		return r, err
	}
	switch {
	case supplyVolts == 0:
		r.Shunt = "as before: the supply's voltage was not told"
	case !b.suppliable():
		r.Shunt = "as before: the supply cannot be put across these positions"
	default:
		r.New.ShuntGain, r.Shunt, err = b.shunt(supplyVolts)
	}
	return r, err
}

// set gives a step with some positions driven, some of them high.
func (b *bench) set(driven, high part.Pins, bias, load adapter.Pull, measure part.Pins) adapter.MeasureStep {
	return adapter.MeasureStep{Step: stimulus.Step{Driven: driven, Drive: high}, Bias: bias, Load: load,
		Settle: settle, Pins: measure, Averaging: averaging}
}

// raw takes the old calibration off a measured voltage: the share of the supply that the converter saw.
func (b *bench) raw(position int, volts float64) float64 {
	old := b.old.Channels[position]
	return (volts - float64(old.OffsetMV)/1000) / old.Gain / b.old.SupplyVolts
}

// inserted makes sure that R is where it was said to be, and nothing else is anywhere.
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
			return fmt.Errorf("%w: no resistor is felt between positions %d and %d: seat it there, its ends clean", ErrImplausible, b.r.P, b.r.Q)
		}
		for p := range (measured &^ part.PinSet(b.r.P, b.r.Q)).All() {
			if b.raw(p, m[0].Volts[p]) > stays {
				return fmt.Errorf("%w: something else is in the socket: position %d follows position %d", ErrImplausible, p, ends[0])
			}
		}
	}
	return nil
}

// shunt compares the monitor with the current through R.
func (b *bench) shunt(supplyVolts float64) (gain float64, source string, err error) {
	if _, err := b.seat.PowerOn(b.ctx, limitMA); err != nil {
		return 0, "", err
	}
	s := b.set(0, 0, adapter.Off, adapter.Off, 0)
	s.Settle = 2 * adapter.CurrentSettle
	m, err := b.seat.Measure(b.ctx, []adapter.MeasureStep{s, s, s, s})
	if err != nil {
		return 0, "", err
	}
	read := 0.0
	for _, step := range m {
		read += step.CurrentMA / b.old.ShuntGain / float64(len(m))
	}
	// The converter ends just below the supply, so the voltage across R is not measured.
	flows := 1000 * supplyVolts / (b.r.Ohms + supplyOhms)
	if flows < leastShuntMA {
		return b.old.ShuntGain, fmt.Sprintf("as before: %.2f mA through %.0f Ω are too little to go by", flows, b.r.Ohms), nil
	}
	gain = flows / read
	if !(math.Abs(gain-1) <= 0.05) {
		return 0, "", fmt.Errorf("%w: the monitor reads %.2f mA where %.2f flow, more than 5 %% off: look at the 1 Ω shunt, and at the voltage that was told",
			ErrImplausible, read, flows)
	}
	return gain, fmt.Sprintf("%.2f mA flowed, the monitor read %.2f", flows, read), nil
}
