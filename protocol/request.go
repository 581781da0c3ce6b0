package protocol

import "fmt"

// A Message is a request or a reply.
type Message interface {
	Type() Type
	// Marshal gives the payload.
	Marshal() []byte
	// Unmarshal reads a payload; an error is ErrPayload. It keeps no part of it.
	Unmarshal(payload []byte) error
}

// A Pull is the setting of the bias or the load resistors: off, or each position
// pulled to its own level.
type Pull struct {
	On bool
	Up uint32 // word of the positions pulled high, the others low; 0 while off
}

// The bits of the byte that turns pulls on.
const (
	pullBias  = 1 << 0
	pullLoad  = 1 << 1
	pullFlags = pullBias | pullLoad
)

func pullsOn(bias, load Pull) (flags uint8) {
	if bias.On {
		flags |= pullBias
	}
	if load.On {
		flags |= pullLoad
	}
	return flags
}

// pulls reads what follows the byte of flags.
func (r *reader) pulls(flags uint8) (bias, load Pull, err error) {
	bias, load = Pull{flags&pullBias != 0, r.u32()}, Pull{flags&pullLoad != 0, r.u32()}
	if flags&^pullFlags != 0 || !bias.On && bias.Up != 0 || !load.On && load.Up != 0 {
		err = fmt.Errorf("%w: pulls with flags %#x, levels %08x and %08x", ErrPayload, flags, bias.Up, load.Up)
	}
	return bias, load, err
}

// Hello begins a conversation: the socket is made safe. Capabilities are the reply.
type Hello struct{ empty }

// Status asks for the adapter's state, and changes nothing. StatusReply is the reply.
type Status struct{ empty }

// Safe releases every position, and opens the pulls and the supply switches.
type Safe struct{ empty }

// Type is TypeHello.
func (*Hello) Type() Type { return TypeHello }

// Type is TypeStatus.
func (*Status) Type() Type { return TypeStatus }

// Type is TypeSafe.
func (*Safe) Type() Type { return TypeSafe }

// Unmarshal takes an empty payload.
func (m *Hello) Unmarshal(payload []byte) error { return noPayload(m, payload) }

// Unmarshal takes an empty payload.
func (m *Status) Unmarshal(payload []byte) error { return noPayload(m, payload) }

// Unmarshal takes an empty payload.
func (m *Safe) Unmarshal(payload []byte) error { return noPayload(m, payload) }

// empty marshals to no payload.
type empty struct{}

// Marshal gives the empty payload.
func (empty) Marshal() []byte { return nil }

func noPayload(m Message, payload []byte) error { return (&reader{rest: payload}).exact(m) }

// Pulls sets the bias and the load resistors.
type Pulls struct{ Bias, Load Pull }

// Type is TypePulls.
func (*Pulls) Type() Type { return TypePulls }

// Marshal gives the payload.
func (m *Pulls) Marshal() []byte {
	return new(writer).u8(pullsOn(m.Bias, m.Load)).u8(0).u32(m.Bias.Up).u32(m.Load.Up).payload
}

// Unmarshal reads the payload.
func (m *Pulls) Unmarshal(payload []byte) (err error) {
	r := reader{rest: payload}
	flags, reserved := r.u8(), r.u8()
	if reserved != 0 {
		return fmt.Errorf("%v: %w: reserved field used", m.Type(), ErrPayload)
	}
	if m.Bias, m.Load, err = r.pulls(flags); err != nil {
		return fmt.Errorf("%v: %w", m.Type(), err)
	}
	return r.exact(m)
}

// Power releases all positions and sets the supply switches. With High and Low
// zero it switches the supply off. PowerReply is the reply.
type Power struct {
	High     uint8  // position of the high-side switch to close, 0 none
	LimitMA  uint16 // current limit, mA; 0 if High is 0
	SettleMS uint16 // from closing the switches to the measurement, ms
	Low      uint32 // word of the low-side switches to close
}

// Type is TypePower.
func (*Power) Type() Type { return TypePower }

// Marshal gives the payload.
func (m *Power) Marshal() []byte {
	return new(writer).u8(m.High).u8(0).u16(m.LimitMA).u16(m.SettleMS).u32(m.Low).payload
}

// Unmarshal reads the payload.
func (m *Power) Unmarshal(payload []byte) error {
	r := reader{rest: payload}
	m.High = r.u8()
	reserved := r.u8()
	m.LimitMA, m.SettleMS, m.Low = r.u16(), r.u16(), r.u32()
	if reserved != 0 {
		return fmt.Errorf("%v: %w: reserved field used", m.Type(), ErrPayload)
	}
	return r.exact(m)
}

// A Drive is the directions and levels of one step.
type Drive struct {
	Direction uint32 // word of the driven positions
	Level     uint32 // word of those driven high
}

const (
	applyHeaderLen  = 8
	flagDirections  = 1 << 0
	flagUnpowered   = 1 << 1
	levelLen        = 4 // bytes a step with one direction for all
	directionsLen   = 8 // bytes a step with its own direction
	applyFlagsKnown = flagDirections | flagUnpowered
)

// Apply drives the positions step by step, and samples after each. ApplyReply is
// the reply. If all Steps have the same Direction it is sent once.
type Apply struct {
	Unpowered bool   // meant for a socket without power
	SettleUS  uint16 // from driving to sampling, µs, each step
	Steps     []Drive
}

// ApplySteps gives how many steps an Apply can hold in a payload of at most
// maxPayload bytes: with one direction for all of them, or with one each.
func ApplySteps(maxPayload int, directions bool) int {
	if directions {
		return max(0, (maxPayload-applyHeaderLen)/directionsLen)
	}
	return max(0, (maxPayload-applyHeaderLen)/levelLen)
}

// Type is TypeApply.
func (*Apply) Type() Type { return TypeApply }

// Directions reports whether the steps differ in direction.
func (m *Apply) Directions() bool {
	for _, step := range m.Steps {
		if step.Direction != m.Steps[0].Direction {
			return true
		}
	}
	return false
}

// Marshal gives the payload.
func (m *Apply) Marshal() []byte {
	directions := m.Directions()
	var flags uint8
	var direction uint32
	if m.Unpowered {
		flags |= flagUnpowered
	}
	switch {
	case directions:
		flags |= flagDirections
	case len(m.Steps) > 0:
		direction = m.Steps[0].Direction
	}
	w := writer{payload: make([]byte, 0, applyHeaderLen+directionsLen*len(m.Steps))}
	w.u8(flags).u8(0).u16(m.SettleUS).u32(direction)
	for _, step := range m.Steps {
		if directions {
			w.u32(step.Direction)
		}
		w.u32(step.Level)
	}
	return w.payload
}

// Unmarshal reads the payload.
func (m *Apply) Unmarshal(payload []byte) error {
	r := reader{rest: payload}
	flags, reserved := r.u8(), r.u8()
	settle, direction := r.u16(), r.u32()
	if flags&^applyFlagsKnown != 0 || reserved != 0 || flags&flagDirections != 0 && direction != 0 {
		return fmt.Errorf("%v: %w: reserved field used", m.Type(), ErrPayload)
	}
	*m = Apply{Unpowered: flags&flagUnpowered != 0, SettleUS: settle}
	for len(r.rest) > 0 {
		if flags&flagDirections != 0 {
			direction = r.u32()
		}
		m.Steps = append(m.Steps, Drive{Direction: direction, Level: r.u32()})
	}
	if len(m.Steps) == 0 {
		return fmt.Errorf("%v: %w: no steps", m.Type(), ErrPayload)
	}
	return r.exact(m)
}
