package protocol

import "fmt"

// Features of an adapter beyond what every adapter does.
type Features uint16

// The features.
const (
	FeatureBias     Features = 1 << 0  // bias resistors
	FeatureLoad     Features = 1 << 1  // load resistors
	FeatureMonitor  Features = 1 << 2  // current monitor: without it no current limit is kept
	FeatureButton   Features = 1 << 3  // push button
	FeatureMeasure  Features = 1 << 4  // Measure and Calibration
	FeatureSweep    Features = 1 << 5  // Sweep
	FeaturePattern  Features = 1 << 6  // PatternLoad and PatternRun
	FeatureFar      Features = 1 << 7  // converters for L9-14 and R9-14, the supply and a reference
	FeatureWatch    Features = 1 << 8  // Watch
	FeatureCell     Features = 1 << 9  // OpCell in a program
	FeatureConvert  Features = 1 << 10 // OpConvert in one
	FeatureAccesses Features = 1 << 11 // MostAccesses in one, else CellAccesses
)

// Has reports whether all features of f are there.
func (s Features) Has(f Features) bool { return s&f == f }

// Firmware is a firmware version.
type Firmware struct{ Major, Minor, Patch uint8 }

func (v Firmware) String() string { return fmt.Sprintf("%d.%d.%d", v.Major, v.Minor, v.Patch) }

// Capabilities are the reply to Hello.
type Capabilities struct {
	Protocol     uint8
	Firmware     Firmware
	BootID       uint16 // another one after each reset
	MaxPayload   uint16 // longest payload of a request, bytes
	MaxSteps     uint16 // most steps in one Apply
	MaxCurrentMA uint16 // highest current limit, mA
	MaxBusyMS    uint16 // longest run of one request, ms
	SilenceMS    uint16 // time without a frame after which the adapter makes the socket safe, ms
	Positions    uint32 // word of the positions that are there
	Sense        uint32 // word of those seen on the socket side of the drive resistor
	SupplyHigh   uint32 // word of those with a high-side switch
	SupplyLow    uint32 // word of those with a low-side switch
	Features     Features
	Rates        []uint32 // line rates, baud, the usual one first
	Board        string
	Measured     uint32 // word of the positions whose voltage can be measured
	ConversionUS uint16 // longest time of a conversion with what belongs to it, µs
	ErrorMV      uint16 // that a voltage may be off without a calibration, mV, beside that of the supply
	Bias         uint32 // word of the positions with a bias resistor
	Load         uint32 // word of those with a load resistor
	Far          uint32 // word of what the far converters measure, part of Measured
	FarUS        uint16 // longest time of a far conversion with what belongs to it, µs
}

const maxCount = 255 // of what is counted in one byte

// Type is the type of the reply.
func (*Capabilities) Type() Type { return TypeHello.Reply() }

// Marshal gives the payload. At most 255 rates, and 255 bytes of the board's name.
func (m *Capabilities) Marshal() []byte {
	w := new(writer).u8(m.Protocol).u8(m.Firmware.Major).u8(m.Firmware.Minor).u8(m.Firmware.Patch)
	w.u16(m.BootID).u16(m.MaxPayload).u16(m.MaxSteps).u16(m.MaxCurrentMA).u16(m.MaxBusyMS).u16(m.SilenceMS)
	w.u32(m.Positions).u32(m.Sense).u32(m.SupplyHigh).u32(m.SupplyLow).u16(uint16(m.Features))
	rates, board := m.Rates[:min(len(m.Rates), maxCount)], m.Board[:min(len(m.Board), maxCount)]
	w.u8(uint8(len(rates)))
	for _, rate := range rates {
		w.u32(rate)
	}
	w.u8(uint8(len(board)))
	w.payload = append(w.payload, board...)
	w.u32(m.Measured).u16(m.ConversionUS).u16(m.ErrorMV)
	return w.u32(m.Bias).u32(m.Load).u32(m.Far).u16(m.FarUS).payload
}

// Unmarshal reads the payload.
func (m *Capabilities) Unmarshal(payload []byte) error {
	r := reader{rest: payload}
	*m = Capabilities{
		Protocol:     r.u8(),
		Firmware:     Firmware{r.u8(), r.u8(), r.u8()},
		BootID:       r.u16(),
		MaxPayload:   r.u16(),
		MaxSteps:     r.u16(),
		MaxCurrentMA: r.u16(),
		MaxBusyMS:    r.u16(),
		SilenceMS:    r.u16(),
		Positions:    r.u32(),
		Sense:        r.u32(),
		SupplyHigh:   r.u32(),
		SupplyLow:    r.u32(),
		Features:     Features(r.u16()),
	}
	for range r.u8() {
		m.Rates = append(m.Rates, r.u32())
	}
	m.Board = string(r.take(int(r.u8())))
	m.Measured, m.ConversionUS, m.ErrorMV = r.u32(), r.u16(), r.u16()
	m.Bias, m.Load, m.Far, m.FarUS = r.u32(), r.u32(), r.u32(), r.u16()
	return r.grown(m)
}

// NotMeasured is a current that was not measured.
const NotMeasured = 0xffff

// PowerReply is the reply to Power.
type PowerReply struct {
	Current uint16 // supply current, 10 µA, or NotMeasured
}

// Type is the type of the reply.
func (*PowerReply) Type() Type { return TypePower.Reply() }

// Marshal gives the payload.
func (m *PowerReply) Marshal() []byte { return new(writer).u16(m.Current).payload }

// Unmarshal reads the payload.
func (m *PowerReply) Unmarshal(payload []byte) error {
	r := reader{rest: payload}
	m.Current = r.u16()
	return r.grown(m)
}

// ApplyReply is the reply to Apply.
type ApplyReply struct {
	Samples []uint32 // after each step, the word of the positions that read high
}

// Type is the type of the reply.
func (*ApplyReply) Type() Type { return TypeApply.Reply() }

// Marshal gives the payload.
func (m *ApplyReply) Marshal() []byte {
	return new(writer).words(m.Samples).payload
}

// Unmarshal reads the payload.
func (m *ApplyReply) Unmarshal(payload []byte) error {
	r := reader{rest: payload}
	m.Samples = r.words()
	return r.grown(m)
}
