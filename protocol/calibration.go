package protocol

import "fmt"

// A CalibrationOperation is what a Calibration asks for.
type CalibrationOperation uint8

// The operations.
const (
	CalibrationRead   CalibrationOperation = 0
	CalibrationWrite  CalibrationOperation = 1
	CalibrationForget CalibrationOperation = 2 // go by the defaults again
)

// Unity is a gain of 1.
const Unity = 32768

// A ChannelConstants corrects one channel of the converter.
type ChannelConstants struct {
	Gain     uint16 // in 1/Unity
	OffsetMV int16  // added after it, mV
}

// Constants calibrate an adapter's measurements, in the ranges of SPEC.md. The
// adapter only stores the three resistances, for the host.
type Constants struct {
	SupplyMV  uint16 // that the converter measures against, mV
	ShuntGain uint16 // of the supply current, in 1/Unity
	BiasOhms  uint16
	LoadOhms  uint16
	DriveOhms uint16             // resistor and output together
	Channels  []ChannelConstants // in the order of the bits of the positions that are measured
}

func (w *writer) constants(c *Constants) *writer {
	w.u16(c.SupplyMV).u16(c.ShuntGain).u16(c.BiasOhms).u16(c.LoadOhms).u16(c.DriveOhms)
	channels := c.Channels[:min(len(c.Channels), maxCount)]
	w.u8(uint8(len(channels)))
	for _, channel := range channels {
		w.u16(channel.Gain).u16(uint16(channel.OffsetMV))
	}
	return w
}

func (r *reader) constants() Constants {
	c := Constants{SupplyMV: r.u16(), ShuntGain: r.u16(), BiasOhms: r.u16(), LoadOhms: r.u16(), DriveOhms: r.u16()}
	for range r.u8() {
		c.Channels = append(c.Channels, ChannelConstants{Gain: r.u16(), OffsetMV: int16(r.u16())})
	}
	return c
}

// Calibration reads, writes or forgets the constants that the adapter keeps.
// Other than reading makes the socket safe. CalibrationReply is the reply.
type Calibration struct {
	Operation CalibrationOperation
	Constants Constants // to be written
}

// Type is TypeCalibration.
func (*Calibration) Type() Type { return TypeCalibration }

// Marshal gives the payload. At most 255 channels.
func (m *Calibration) Marshal() []byte {
	w := new(writer).u8(uint8(m.Operation)).u8(0)
	if m.Operation == CalibrationWrite {
		w.constants(&m.Constants)
	}
	return w.payload
}

// Unmarshal reads the payload.
func (m *Calibration) Unmarshal(payload []byte) error {
	r := reader{rest: payload}
	*m = Calibration{Operation: CalibrationOperation(r.u8())}
	if reserved := r.u8(); reserved != 0 || m.Operation > CalibrationForget {
		return fmt.Errorf("%v: %w: no such operation, or reserved field used", m.Type(), ErrPayload)
	}
	if m.Operation == CalibrationWrite {
		m.Constants = r.constants()
	}
	return r.exact(m)
}

// A CalibrationState is where an adapter's constants come from.
type CalibrationState uint8

// The states.
const (
	CalibrationNone    CalibrationState = 0 // none are kept: the defaults
	CalibrationStored  CalibrationState = 1
	CalibrationDamaged CalibrationState = 2 // what is kept is damaged: the defaults
)

func (s CalibrationState) String() string { return word(uint8(s), "defaults", "stored", "damaged") }

// CalibrationReply is the reply to Calibration: what the adapter uses now.
type CalibrationReply struct {
	State     CalibrationState
	Constants Constants
}

// Type is the type of the reply.
func (*CalibrationReply) Type() Type { return TypeCalibration.Reply() }

// Marshal gives the payload. At most 255 channels.
func (m *CalibrationReply) Marshal() []byte {
	return new(writer).u8(uint8(m.State)).constants(&m.Constants).payload
}

// Unmarshal reads the payload.
func (m *CalibrationReply) Unmarshal(payload []byte) error {
	r := reader{rest: payload}
	m.State, m.Constants = CalibrationState(r.u8()), r.constants()
	return r.grown(m)
}
