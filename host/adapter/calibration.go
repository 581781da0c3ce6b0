package adapter

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"chipassay/protocol"
)

// A Calibration is what makes an adapter's measurements right. It keeps it
// without power. SPEC.md, CALIBRATION, has the ranges.
type Calibration struct {
	State       protocol.CalibrationState // where it comes from; not looked at when it is set
	SupplyVolts float64                   // that voltages are measured against, 4.5 to 5.5
	ShuntGain   float64                   // of the supply current, 0.95 to 1.05
	BiasOhms    int                       // 9,000 to 11,000
	LoadOhms    int                       // 900 to 1,100
	DriveOhms   int                       // resistor and output together, 100 to 200
	Channels    map[int]Channel           // by socket position
}

// A Channel corrects the voltages of one position.
type Channel struct {
	Gain     float64 // 0.95 to 1.05
	OffsetMV int     // added after it, -100 to 100
}

// calibrationTime is what writing takes: 77 bytes of EEPROM at 3.4 ms.
const calibrationTime = 300 * time.Millisecond

// Calibration gives what the adapter goes by.
func (a *Adapter) Calibration(ctx context.Context) (Calibration, error) {
	return a.calibrate(ctx, &protocol.Calibration{})
}

// Constants are what a socket's voltages are reckoned with: those of the
// calibration that the adapter keeps, or of its design.
type Constants struct {
	SupplyVolts                   float64 // of the adapter's 5 V rail
	BiasOhms, LoadOhms, DriveOhms float64
}

// Constants gives the adapter's, asked for once.
func (s *Seat) Constants(ctx context.Context) (Constants, error) {
	c, err := s.adapter.constantsOf(ctx)
	if s.adapter.rail != 0 {
		c.SupplyVolts = s.adapter.rail
	}
	return c, err
}

func (a *Adapter) constantsOf(ctx context.Context) (Constants, error) {
	if a.constants == nil {
		c, err := a.Calibration(ctx)
		if err != nil {
			return Constants{}, err
		}
		a.constants = &Constants{c.SupplyVolts, float64(c.BiasOhms), float64(c.LoadOhms), float64(c.DriveOhms)}
	}
	return *a.constants, nil
}

// near are the positions that the microcontroller's own converter measures: those
// that a calibration corrects.
func (c *Capabilities) near() Word { return c.Measured &^ c.Far }

// SetCalibration has the adapter keep constants. It makes the socket safe. What
// is out of range is ErrCannot, and nothing is changed.
func (a *Adapter) SetCalibration(ctx context.Context, c Calibration) error {
	constants := protocol.Constants{
		SupplyMV:  field(1000 * c.SupplyVolts),
		ShuntGain: field(protocol.Unity * c.ShuntGain),
		BiasOhms:  field(float64(c.BiasOhms)),
		LoadOhms:  field(float64(c.LoadOhms)),
		DriveOhms: field(float64(c.DriveOhms)),
	}
	for position := range a.Capabilities.near().Positions() {
		channel, ok := c.Channels[position]
		if !ok {
			return fmt.Errorf("%w keep a calibration without position %d", ErrCannot, position)
		}
		offset := min(max(channel.OffsetMV, math.MinInt16), math.MaxInt16)
		constants.Channels = append(constants.Channels, protocol.ChannelConstants{
			Gain: field(protocol.Unity * channel.Gain), OffsetMV: int16(offset)})
	}
	_, err := a.calibrate(ctx, &protocol.Calibration{Operation: protocol.CalibrationWrite, Constants: constants})
	return err
}

// ForgetCalibration has the adapter go by the values of its design again.
func (a *Adapter) ForgetCalibration(ctx context.Context) error {
	_, err := a.calibrate(ctx, &protocol.Calibration{Operation: protocol.CalibrationForget})
	return err
}

// field rounds to a u16; what does not fit, or is no number, becomes a value that every range excludes.
func field(v float64) uint16 {
	v = math.Round(v)
	if !(v >= 0 && v <= math.MaxUint16) {
		return math.MaxUint16
	}
	return uint16(v)
}

func (a *Adapter) calibrate(ctx context.Context, request *protocol.Calibration) (Calibration, error) {
	if a.Capabilities.Measured == 0 {
		return Calibration{}, fmt.Errorf("%w keep a calibration: it measures no voltages", ErrCannot)
	}
	if request.Operation != protocol.CalibrationRead {
		a.pulls = protocol.Pulls{}
		a.constants = nil
	}
	var reply protocol.CalibrationReply
	if err := a.call(ctx, request, &reply, calibrationTime); err != nil {
		if errors.Is(err, protocol.BadPayload) {
			err = fmt.Errorf("%w keep this calibration: a value is out of range: %w", ErrCannot, err)
		}
		return Calibration{}, err
	}
	k := reply.Constants
	c := Calibration{
		State:       reply.State,
		SupplyVolts: float64(k.SupplyMV) / 1000,
		ShuntGain:   float64(k.ShuntGain) / protocol.Unity,
		BiasOhms:    int(k.BiasOhms),
		LoadOhms:    int(k.LoadOhms),
		DriveOhms:   int(k.DriveOhms),
		Channels:    map[int]Channel{},
	}
	i := 0
	for position := range a.Capabilities.near().Positions() {
		if i == len(k.Channels) {
			return Calibration{}, a.fail(fmt.Errorf("%w: a calibration of %d channels", protocol.ErrPayload, i))
		}
		c.Channels[position] = Channel{Gain: float64(k.Channels[i].Gain) / protocol.Unity, OffsetMV: int(k.Channels[i].OffsetMV)}
		i++
	}
	return c, nil
}
