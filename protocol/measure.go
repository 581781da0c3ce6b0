package protocol

import (
	"fmt"
	"math/bits"
)

// A MeasureStep is what one step of Measure sets and then measures.
type MeasureStep struct {
	Direction  uint32 // word of the driven positions
	Level      uint32 // word of those driven high
	Positions  uint32 // word of the positions whose voltage is measured, with the bits of SupplyBehindShunt and the references
	SettleUS   uint16 // from driving to measuring, µs
	Averaging  uint8  // 2^Averaging conversions a position, up to 2^MostAveraging
	Bias, Load Pull
}

// Bits of MeasureStep.Positions, and of Capabilities.Measured, that stand for no
// socket position.
const (
	SupplyBehindShunt uint32 = 1 << 14 // what the supply switches hand on
	ReferenceFirst    uint32 = 1 << 15 // the 2.500 V reference, as the first far converter sees it
	ReferenceSecond   uint32 = 1 << 31 // and as the second does
)

// MostAveraging is the highest Averaging of a MeasureStep.
const MostAveraging = 7

const (
	measureHeaderLen  = 4
	measureStepLen    = 24
	measureFlagsKnown = flagUnpowered
)

// Measure sets pulls and drives step by step, and measures. MeasureReply is the reply.
type Measure struct {
	Unpowered bool // meant for a socket without power
	Steps     []MeasureStep
}

// Type is TypeMeasure.
func (*Measure) Type() Type { return TypeMeasure }

// Marshal gives the payload.
func (m *Measure) Marshal() []byte {
	w := writer{payload: make([]byte, 0, measureHeaderLen+measureStepLen*len(m.Steps))}
	var flags uint8
	if m.Unpowered {
		flags = flagUnpowered
	}
	w.u8(flags).u8(0).u16(0)
	for _, s := range m.Steps {
		w.u32(s.Direction).u32(s.Level).u32(s.Positions).u16(s.SettleUS).u8(s.Averaging)
		w.u8(pullsOn(s.Bias, s.Load)).u32(s.Bias.Up).u32(s.Load.Up)
	}
	return w.payload
}

// Unmarshal reads the payload.
func (m *Measure) Unmarshal(payload []byte) error {
	r := reader{rest: payload}
	flags, reserved, reserved2 := r.u8(), r.u8(), r.u16()
	if flags&^measureFlagsKnown != 0 || reserved != 0 || reserved2 != 0 {
		return fmt.Errorf("%v: %w: reserved field used", m.Type(), ErrPayload)
	}
	*m = Measure{Unpowered: flags&flagUnpowered != 0}
	for len(r.rest) > 0 {
		s := MeasureStep{Direction: r.u32(), Level: r.u32(), Positions: r.u32(), SettleUS: r.u16(), Averaging: r.u8()}
		var err error
		if s.Bias, s.Load, err = r.pulls(r.u8()); err != nil {
			return fmt.Errorf("%v: %w", m.Type(), err)
		}
		if s.Averaging > MostAveraging {
			return fmt.Errorf("%v: %w: averaging %d", m.Type(), ErrPayload, s.Averaging)
		}
		m.Steps = append(m.Steps, s)
	}
	if len(m.Steps) == 0 {
		return fmt.Errorf("%v: %w: no steps", m.Type(), ErrPayload)
	}
	return r.exact(m)
}

// A Measured is what one step of Measure gave.
type Measured struct {
	Sample     uint32   // word of the positions that read high
	Current    uint16   // supply current, 10 µA, or NotMeasured
	Millivolts []uint16 // of the measured positions, in the order of their bits, the least significant first
}

const measuredLen = 6 // of a Measured, before its voltages

// MeasureFits gives how many of the steps a Measure can hold, from the first on,
// so that neither it nor its reply is over maxPayload bytes.
func MeasureFits(steps []MeasureStep, maxPayload int) int {
	request, reply := measureHeaderLen, 0
	for i, s := range steps {
		request += measureStepLen
		reply += measuredLen + 2*bits.OnesCount32(s.Positions)
		if request > maxPayload || reply > maxPayload {
			return i
		}
	}
	return len(steps)
}

// MeasureReply is the reply to Measure.
type MeasureReply struct {
	// Positions are those of each step of the request. The payload cannot be read
	// without them.
	Positions []uint32
	Steps     []Measured
}

// Type is the type of the reply.
func (*MeasureReply) Type() Type { return TypeMeasure.Reply() }

// Marshal gives the payload.
func (m *MeasureReply) Marshal() []byte {
	var w writer
	for _, s := range m.Steps {
		w.u32(s.Sample).u16(s.Current)
		for _, mv := range s.Millivolts {
			w.u16(mv)
		}
	}
	return w.payload
}

// Unmarshal reads the payload.
func (m *MeasureReply) Unmarshal(payload []byte) error {
	r := reader{rest: payload}
	m.Steps = make([]Measured, 0, len(m.Positions))
	for _, positions := range m.Positions {
		s := Measured{Sample: r.u32(), Current: r.u16()}
		for range bits.OnesCount32(positions) {
			s.Millivolts = append(s.Millivolts, r.u16())
		}
		m.Steps = append(m.Steps, s)
	}
	return r.grown(m)
}
