// Package adapter offers what an adapter can do as typed operations: seat a chip,
// supply it, apply steps and read them back. Besides the virtual socket it is the only
// package of the host that knows socket words. It refuses, with the reason, what an
// adapter cannot do.
//
// After any error, and when a context is cancelled, the socket is made safe
// before an operation returns: no position driven, bias and load off, all supply
// switches open.
package adapter

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"time"

	"chipassay/host/link"
	"chipassay/protocol"
)

// The errors of an adapter's operations, for errors.Is.
var (
	// ErrCannot is what the adapter at hand, or its socket, is not able to do.
	ErrCannot = errors.New("the adapter cannot")
	// ErrReset is an adapter that started anew in the middle of an operation.
	ErrReset = errors.New("the adapter was reset in the middle")
	// ErrSilence is an adapter that switched off because the host fell silent.
	ErrSilence = errors.New("the adapter switched off because it heard nothing from this computer")
	// ErrOverCurrent is a chip that took more than the limit; the supply was switched off.
	ErrOverCurrent = errors.New("the chip took too much supply current and was switched off: " +
		"it may be put in backwards, shorted inside, or another part than it is marked")
	// ErrFault is an adapter whose own supply switches or current monitor do not work.
	ErrFault = errors.New("the adapter has a fault and was switched off")
)

// offPatience bounds the time for switching off after an operation failed.
const offPatience = 2 * time.Second

// Capabilities are what an adapter can do.
type Capabilities struct {
	Board         string
	Firmware      string // major.minor.patch
	Positions     Word   // that are there: of a starter, L1-8 and R1-8
	Sense         Word   // positions whose true level is read even while driven
	SupplyHigh    Word   // positions that can be switched to +5 V
	SupplyLow     Word   // positions that can be switched to ground
	Bias, Load    Word   // positions with a bias resistor, 10 kΩ, and with a load resistor, 1 kΩ
	Monitor       bool   // of the supply current; without it no limit is kept
	Button        bool
	Measured      Word // positions whose voltage can be measured
	Far           Word // those of them behind the far converters
	Reference     bool // a 2.500 V reference is there: voltages are absolute
	ErrorMV       int  // that a voltage may be off without a calibration, beside the error of the supply, mV
	Conversion    time.Duration
	FarConversion time.Duration
	Sweep         bool // it walks a sweep by itself
	Pattern       bool // it runs a Program
	Cells         bool // with Cell in it,
	Accesses      int  // and at most so many accesses in all
	Converts      bool // and with Convert
	Watch         bool // it times the edges of a position
	MaxCurrentMA  int
	MaxPayload    int // bytes
	MaxSteps      int // in one request
	MaxBusy       time.Duration
	SilenceMillis int
	Rates         []int // of the line, baud, the usual one first
}

// Groups names what is fitted beyond the starter, the starter first
// (firmware/carrier). The far half counts as fitted with its bias resistors.
func (c *Capabilities) Groups() []string {
	groups := []string{"starter"}
	for _, g := range []struct {
		name   string
		fitted bool
	}{
		{"load", c.Load != 0}, {"far", c.Positions == All}, {"switches", c.SupplyHigh.Has(1) || c.SupplyLow.Has(1)}, {"converters", c.Far != 0},
	} {
		if g.fitted {
			groups = append(groups, g.name)
		}
	}
	return groups
}

// An Adapter is an adapter that answered. It is for one goroutine at a time.
type Adapter struct {
	Capabilities Capabilities

	link   *link.Link
	worked time.Duration // what the steps asked for take, without the line
	bootID uint16
	pulls  protocol.Pulls // as last set
	rail   float64        // V of the adapter's 5 V rail, by the reference; 0 until it was measured
	scale  float64        // that makes measured volts absolute

	constants *Constants // as the adapter reported, nil until it was asked
}

// Open greets the adapter at the other end of a link, which makes its socket
// safe, and learns what it can do.
func Open(ctx context.Context, l *link.Link) (*Adapter, error) {
	var c protocol.Capabilities
	if err := l.Call(ctx, &protocol.Hello{}, &c, 0); err != nil {
		return nil, err
	}
	if c.Protocol != protocol.Version {
		return nil, fmt.Errorf("%w: %d, not %d", protocol.ErrVersion, c.Protocol, protocol.Version)
	}
	if min(protocol.ApplySteps(int(c.MaxPayload), true), int(c.MaxSteps)) < 1 {
		return nil, fmt.Errorf("%w: an adapter that takes %d steps in %d bytes", protocol.ErrPayload, c.MaxSteps, c.MaxPayload)
	}
	var rates []int
	for _, rate := range c.Rates {
		rates = append(rates, int(rate))
	}
	return &Adapter{link: l, bootID: c.BootID, scale: 1, Capabilities: Capabilities{
		Board:         c.Board,
		Firmware:      c.Firmware.String(),
		Positions:     Word(c.Positions),
		Sense:         Word(c.Sense),
		SupplyHigh:    Word(c.SupplyHigh),
		SupplyLow:     Word(c.SupplyLow),
		Bias:          Word(c.Bias),
		Load:          Word(c.Load),
		Monitor:       c.Features.Has(protocol.FeatureMonitor),
		Button:        c.Features.Has(protocol.FeatureButton),
		Measured:      Word(c.Measured) & All,
		Far:           Word(c.Far) & All,
		Reference:     c.Measured&protocol.ReferenceFirst != 0,
		ErrorMV:       int(c.ErrorMV),
		Conversion:    time.Duration(c.ConversionUS) * time.Microsecond,
		FarConversion: time.Duration(c.FarUS) * time.Microsecond,
		Sweep:         c.Features.Has(protocol.FeatureSweep),
		Pattern:       c.Features.Has(protocol.FeaturePattern),
		Cells:         c.Features.Has(protocol.FeatureCell),
		Accesses:      accesses(c.Features),
		Converts:      c.Features.Has(protocol.FeatureConvert),
		Watch:         c.Features.Has(protocol.FeatureWatch),
		MaxCurrentMA:  int(c.MaxCurrentMA),
		MaxPayload:    int(c.MaxPayload),
		MaxSteps:      int(c.MaxSteps),
		MaxBusy:       time.Duration(c.MaxBusyMS) * time.Millisecond,
		SilenceMillis: int(c.SilenceMS),
		Rates:         rates,
	}}, nil
}

// accesses is how many a program may have.
func accesses(f protocol.Features) int {
	switch {
	case f.Has(protocol.FeatureAccesses):
		return protocol.MostAccesses
	case f.Has(protocol.FeatureCell):
		return protocol.CellAccesses
	default:
		return 0
	}
}

// Close makes the socket safe and closes the link.
func (a *Adapter) Close() error {
	return errors.Join(a.off(), a.link.Close())
}

// Status asks for the adapter's state. It also keeps an adapter from taking a
// host that is busy with other things for one that is gone.
func (a *Adapter) Status(ctx context.Context) (protocol.StatusReply, error) {
	var s protocol.StatusReply
	err := a.link.Call(ctx, &protocol.Status{}, &s, 0)
	return s, err
}

// Spent is how much of the adapter's time was asked for since it was opened: that
// of its steps, with their settling, and of the frames on the line, at the usual
// rate where the link has none. It is calculated, not measured: what depends on it
// is the same on every computer.
func (a *Adapter) Spent() time.Duration {
	return a.worked + link.OnWire(a.link.Carried, cmp.Or(a.link.Baud(), protocol.UsualRate))
}

// Repeats counts the requests that had to be sent more than once.
func (a *Adapter) Repeats() int { return a.link.Repeats }

// call sends a request while the socket is supplied, or about to be. When it
// fails the socket is made safe, and the error says why as far as the adapter knows.
func (a *Adapter) call(ctx context.Context, request, reply protocol.Message, work time.Duration) error {
	err := a.link.Call(ctx, request, reply, work)
	if err == nil {
		return nil
	}
	return a.fail(a.explain(err))
}

// fail makes the socket safe after an error.
func (a *Adapter) fail(err error) error { return errors.Join(err, a.off()) }

// explain asks an adapter that refused why: after a reset, after 2 s of silence
// and after a trip its socket is safe, and it refuses to apply steps to it.
func (a *Adapter) explain(err error) error {
	var refusal *protocol.ErrorReply
	switch {
	case !errors.As(err, &refusal):
		return err
	case refusal.Code == protocol.Overcurrent:
		return overCurrent(refusal.Detail)
	case refusal.Code == protocol.Fault:
		return fault(Word(refusal.Detail))
	case refusal.Code != protocol.NotPowered:
		return err
	}
	ctx, cancel := context.WithTimeout(context.Background(), offPatience)
	defer cancel()
	s, statusErr := a.Status(ctx)
	switch {
	case statusErr != nil:
		return errors.Join(err, statusErr)
	case s.BootID != a.bootID:
		return fmt.Errorf("%w (cause of the reset: %v)", ErrReset, s.ResetCause)
	case s.SafeCause == protocol.SafeSilence:
		return fmt.Errorf("%w for %d ms", ErrSilence, a.Capabilities.SilenceMillis)
	case s.SafeCause == protocol.SafeOvercurrent:
		return ErrOverCurrent
	case s.SafeCause == protocol.SafeFault:
		return fault(0)
	}
	return err
}

// A FaultError is an ErrFault that says where.
type FaultError struct {
	Positions Word // whose supply is not as it was switched; 0 for the current monitor
}

func (e *FaultError) Unwrap() error { return ErrFault }

func (e *FaultError) Error() string {
	if e.Positions == 0 {
		return fmt.Sprintf("%v: the current monitor does not answer; look at its I2C lines and its supply", ErrFault)
	}
	return fmt.Sprintf("%v: the supply at socket positions %s is not as it was switched; look at their switches, the fuse and the shift registers",
		ErrFault, list(e.Positions))
}

func fault(positions Word) error { return &FaultError{positions} }

func overCurrent(tenMicroamps uint32) error {
	return fmt.Errorf("%w (measured %d.%02d mA)", ErrOverCurrent, tenMicroamps/100, tenMicroamps%100)
}

// off makes the socket safe whatever became of the caller's context.
func (a *Adapter) off() error {
	ctx, cancel := context.WithTimeout(context.Background(), offPatience)
	defer cancel()
	return a.safe(ctx)
}

func (a *Adapter) safe(ctx context.Context) error {
	a.pulls = protocol.Pulls{}
	err := a.link.Call(ctx, &protocol.Safe{}, &protocol.Acknowledged{Request: protocol.TypeSafe}, 0)
	if err != nil {
		return fmt.Errorf("the socket could not be switched off, it does so by itself within %d ms; do not touch the chip before: %w",
			a.Capabilities.SilenceMillis, err)
	}
	return nil
}
