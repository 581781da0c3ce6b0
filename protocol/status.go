package protocol

import "fmt"

// A ResetCause is why the adapter last started.
type ResetCause uint8

// The causes of a reset.
const (
	ResetUnknown  ResetCause = 0
	ResetPowerOn  ResetCause = 1
	ResetExternal ResetCause = 2
	ResetBrownOut ResetCause = 3
	ResetWatchdog ResetCause = 4
	ResetProgram  ResetCause = 5
)

func (c ResetCause) String() string {
	return word(uint8(c), "unknown", "power-on", "external", "brown-out", "watchdog", "debugger or program")
}

// A SafeCause is why the adapter last made the socket safe.
type SafeCause uint8

// The causes of a safe socket.
const (
	SafeReset       SafeCause = 1
	SafeRequest     SafeCause = 2
	SafeHello       SafeCause = 3
	SafeSilence     SafeCause = 4
	SafeRefused     SafeCause = 5
	SafeOvercurrent SafeCause = 6
	SafeFault       SafeCause = 7
)

func (c SafeCause) String() string {
	return word(uint8(c), "", "reset", "asked to", "greeting", "silence of the host", "refused request", "overcurrent",
		"fault of the adapter")
}

// word gives the n-th of the words, or the number if there is none.
func word(n uint8, words ...string) string {
	if int(n) < len(words) && words[n] != "" {
		return words[n]
	}
	return fmt.Sprintf("number %d", n)
}

// StatusReply is the reply to Status.
type StatusReply struct {
	Powered    bool // a high-side switch is closed
	Button     bool // the button is pressed
	Bias, Load Pull
	High       uint8  // position of the closed high-side switch, 0 none
	Low        uint32 // word of the closed low-side switches
	Driven     uint32 // word of the driven positions
	Current    uint16 // supply current, 10 µA, or NotMeasured
	LimitMA    uint16 // current limit, mA; 0 while not powered
	ResetCause ResetCause
	SafeCause  SafeCause
	BootID     uint16

	// Counters since the reset; they stay at 65535.
	Frames     uint16 // sound frames
	Damaged    uint16 // frames dropped as damaged
	Oversize   uint16 // frames dropped as too long
	Overruns   uint16 // bytes lost for want of time
	LineErrors uint16 // bytes without a stop bit
}

const (
	statePowered = 1 << 0
	stateButton  = 1 << 1
)

// Type is the type of the reply.
func (*StatusReply) Type() Type { return TypeStatus.Reply() }

// Marshal gives the payload.
func (m *StatusReply) Marshal() []byte {
	var state uint8
	if m.Powered {
		state |= statePowered
	}
	if m.Button {
		state |= stateButton
	}
	w := new(writer).u8(state).u8(flag(m.Bias.On)).u8(flag(m.Load.On)).u8(m.High).u32(m.Low).u32(m.Driven)
	w.u16(m.Current).u16(m.LimitMA).u8(uint8(m.ResetCause)).u8(uint8(m.SafeCause)).u16(m.BootID)
	return w.u16(m.Frames).u16(m.Damaged).u16(m.Oversize).u16(m.Overruns).u16(m.LineErrors).u32(m.Bias.Up).u32(m.Load.Up).payload
}

// Unmarshal reads the payload.
func (m *StatusReply) Unmarshal(payload []byte) error {
	r := reader{rest: payload}
	state := r.u8()
	*m = StatusReply{
		Powered:    state&statePowered != 0,
		Button:     state&stateButton != 0,
		Bias:       Pull{On: r.u8() != 0},
		Load:       Pull{On: r.u8() != 0},
		High:       r.u8(),
		Low:        r.u32(),
		Driven:     r.u32(),
		Current:    r.u16(),
		LimitMA:    r.u16(),
		ResetCause: ResetCause(r.u8()),
		SafeCause:  SafeCause(r.u8()),
		BootID:     r.u16(),
		Frames:     r.u16(),
		Damaged:    r.u16(),
		Oversize:   r.u16(),
		Overruns:   r.u16(),
		LineErrors: r.u16(),
	}
	m.Bias.Up, m.Load.Up = r.u32(), r.u32()
	return r.grown(m)
}

func flag(set bool) uint8 {
	if set {
		return 1
	}
	return 0
}

// Acknowledged is the reply without payload, to Safe, Pulls and PatternLoad.
type Acknowledged struct {
	empty
	Request Type
}

// Type is the type of the reply.
func (m *Acknowledged) Type() Type { return m.Request.Reply() }

// Unmarshal takes any payload: later firmware may add fields.
func (m *Acknowledged) Unmarshal([]byte) error { return nil }

// Request gives the frame of a request.
func Request(seq uint8, m Message) Frame {
	return Frame{Type: m.Type(), Seq: seq, Payload: m.Marshal()}
}

// ReadReply reads frame as the reply to a request into reply. An adapter's
// refusal comes back as an *ErrorReply; a frame of another type is ErrPayload.
func ReadReply(frame Frame, reply Message) error {
	if frame.Type == TypeError {
		refusal := new(ErrorReply)
		if err := refusal.Unmarshal(frame.Payload); err != nil {
			return err
		}
		return refusal
	}
	if frame.Type != reply.Type() {
		return fmt.Errorf("%w: %v instead of %v", ErrPayload, frame.Type, reply.Type())
	}
	return reply.Unmarshal(frame.Payload)
}
