package protocol

import "fmt"

// Sweep steps some positions through a Gray or binary count, and folds the readings
// into signatures. SweepReply is the reply.
type Sweep struct {
	Gray      bool    // step i drives the Gray code of i, else i itself
	Settle    uint16  // from driving to sampling, 1/16 µs, each step
	Direction uint32  // word of the driven positions, the swept ones included
	Level     uint32  // word of those driven high that are not swept
	Start     uint32  // number of the first step
	Count     uint32  // steps, at least 1
	Block     uint16  // steps a signature, at least 1
	Mask      uint32  // word of the positions that are folded
	Positions []uint8 // the swept ones, bit 0 first, at most MostSwept
}

const (
	flagGray = 1 << 0

	// MostSwept is how many positions one Sweep can sweep.
	MostSwept = 24
	// MostSignatures is how many signatures one Sweep can ask for.
	MostSignatures = 256
)

// Type is TypeSweep.
func (*Sweep) Type() Type { return TypeSweep }

// Marshal gives the payload.
func (m *Sweep) Marshal() []byte {
	var flags uint8
	if m.Gray {
		flags |= flagGray
	}
	positions := m.Positions[:min(len(m.Positions), maxCount)]
	w := new(writer).u8(flags).u8(uint8(len(positions))).u16(m.Settle).u32(m.Direction).u32(m.Level)
	w.u32(m.Start).u32(m.Count).u16(m.Block).u16(0).u32(m.Mask)
	return append(w.payload, positions...)
}

// Unmarshal reads the payload.
func (m *Sweep) Unmarshal(payload []byte) error {
	r := reader{rest: payload}
	flags, n := r.u8(), r.u8()
	*m = Sweep{Gray: flags&flagGray != 0, Settle: r.u16(), Direction: r.u32(), Level: r.u32(), Start: r.u32(),
		Count: r.u32(), Block: r.u16()}
	reserved := r.u16()
	m.Mask = r.u32()
	m.Positions = append(m.Positions, r.take(int(n))...)
	switch {
	case flags&^flagGray != 0 || reserved != 0:
		return fmt.Errorf("%v: %w: reserved field used", m.Type(), ErrPayload)
	case n < 1 || n > MostSwept || m.Count < 1 || m.Block < 1:
		return fmt.Errorf("%v: %w: a count out of range", m.Type(), ErrPayload)
	}
	return r.exact(m)
}

// SweepReply is the reply to Sweep.
type SweepReply struct {
	Signatures []uint32 // one a block; the last block may be shorter
}

// Type is the type of the reply.
func (*SweepReply) Type() Type { return TypeSweep.Reply() }

// Marshal gives the payload.
func (m *SweepReply) Marshal() []byte { return new(writer).words(m.Signatures).payload }

// Unmarshal reads the payload.
func (m *SweepReply) Unmarshal(payload []byte) error {
	r := reader{rest: payload}
	m.Signatures = r.words()
	return r.grown(m)
}
