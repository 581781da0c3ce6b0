package protocol

import "fmt"

// A WatchAction is what a Watch sets at a time, and what it sets when it halts.
type WatchAction struct {
	AtUS       uint32 // µs after the first action; 0 in a halt
	Direction  uint32 // word of the driven positions
	Level      uint32 // word of those driven high
	Bias, Load Pull
}

// Watch sets pulls and drives at given times, and times the edges of a position meanwhile.
// WatchReply is the reply.
type Watch struct {
	Unpowered bool          // meant for a socket without power
	Watched   uint8         // the position whose edges are timed
	UntilUS   uint32        // from the first action to its end at the latest, µs
	Edges     uint8         // it stops after so many, 1 to MostEdges
	Measured  uint8         // the position whose voltage is measured at the end, 0 none
	Averaging uint8         // 2^Averaging conversions
	Actions   []WatchAction // 1 to MostActions, in order; the first at 0
	Halt      *WatchAction  // what the first edge after the last action sets; nil: it does not halt
}

const (
	// MostEdges is how many edges one Watch can time.
	MostEdges = 64
	// MostActions is how many actions it can have.
	MostActions = 8

	flagHalt        = 1 << 0
	watchFlagsKnown = flagHalt | flagUnpowered
)

// Type is TypeWatch.
func (*Watch) Type() Type { return TypeWatch }

// Marshal gives the payload.
func (m *Watch) Marshal() []byte {
	var flags uint8
	actions := m.Actions
	if m.Unpowered {
		flags |= flagUnpowered
	}
	if m.Halt != nil {
		flags |= flagHalt
		actions = append(actions[:len(actions):len(actions)], *m.Halt)
	}
	w := new(writer).u8(flags).u8(m.Watched).u32(m.UntilUS).u8(m.Edges).u8(m.Measured).u8(m.Averaging).u8(0)
	for _, a := range actions {
		w.u32(a.AtUS).u32(a.Direction).u32(a.Level).u8(pullsOn(a.Bias, a.Load)).u32(a.Bias.Up).u32(a.Load.Up)
	}
	return w.payload
}

// Unmarshal reads the payload.
func (m *Watch) Unmarshal(payload []byte) error {
	r := reader{rest: payload}
	flags := r.u8()
	*m = Watch{Unpowered: flags&flagUnpowered != 0, Watched: r.u8(), UntilUS: r.u32(), Edges: r.u8(), Measured: r.u8(), Averaging: r.u8()}
	if reserved := r.u8(); flags&^watchFlagsKnown != 0 || reserved != 0 {
		return fmt.Errorf("%v: %w: reserved field used", m.Type(), ErrPayload)
	}
	for len(r.rest) > 0 {
		a := WatchAction{AtUS: r.u32(), Direction: r.u32(), Level: r.u32()}
		var err error
		if a.Bias, a.Load, err = r.pulls(r.u8()); err != nil {
			return fmt.Errorf("%v: %w", m.Type(), err)
		}
		m.Actions = append(m.Actions, a)
	}
	if last := len(m.Actions) - 1; flags&flagHalt != 0 && last >= 0 {
		m.Halt, m.Actions = &m.Actions[last], m.Actions[:last:last]
	}
	switch {
	case len(m.Actions) < 1 || len(m.Actions) > MostActions || m.Edges < 1 || m.Edges > MostEdges || m.Averaging > MostAveraging:
		return fmt.Errorf("%v: %w: a count out of range", m.Type(), ErrPayload)
	case !m.inOrder():
		return fmt.Errorf("%v: %w: actions out of order", m.Type(), ErrPayload)
	}
	return r.exact(m)
}

func (m *Watch) inOrder() bool {
	last := uint32(0)
	for i, a := range m.Actions {
		if a.AtUS < last || i == 0 && a.AtUS != 0 || a.AtUS >= m.UntilUS {
			return false
		}
		last = a.AtUS
	}
	return m.Halt == nil || m.Halt.AtUS == 0
}

// Stopped is why a Watch ended.
type Stopped uint8

// The reasons.
const (
	StoppedByTime  Stopped = 0
	StoppedByEdges Stopped = 1
	StoppedByHalt  Stopped = 2
)

func (s Stopped) String() string {
	switch s {
	case StoppedByTime:
		return "time"
	case StoppedByEdges:
		return "edges"
	case StoppedByHalt:
		return "halt"
	}
	return fmt.Sprintf("reason %d", uint8(s))
}

// An Edge is a change of the watched position. Times are 1/16 µs from the first action's drive.
type Edge struct {
	At  uint32 // when it was seen
	Gap uint16 // the time before that in which the position was not looked at: the edge came within it
}

// WatchReply is the reply to Watch.
type WatchReply struct {
	Begin, End bool // whether the position read high before the first action's drive, and at the end
	Stopped    Stopped
	Within     uint8    // all that an action changes is so near its time, 1/16 µs; 0 from an adapter that does not say
	Millivolts uint16   // 0 where no voltage was asked for
	Sample     uint32   // word of the positions that read high after that
	Acted      []uint32 // when each action drove, 1/16 µs, the first at 0; and last the halt
	Edges      []Edge   // the first is away from Begin, and each other one from the one before
}

// Type is the type of the reply.
func (*WatchReply) Type() Type { return TypeWatch.Reply() }

// Marshal gives the payload.
func (m *WatchReply) Marshal() []byte {
	w := new(writer).u8(bit(m.Begin)).u8(bit(m.End)).u8(uint8(m.Stopped)).u8(uint8(len(m.Acted))).u8(uint8(len(m.Edges))).u8(m.Within)
	w.u16(m.Millivolts).u32(m.Sample).words(m.Acted)
	for _, e := range m.Edges {
		w.u32(e.At).u16(e.Gap)
	}
	return w.payload
}

func bit(b bool) uint8 {
	if b {
		return 1
	}
	return 0
}

// Unmarshal reads the payload.
func (m *WatchReply) Unmarshal(payload []byte) error {
	r := reader{rest: payload}
	*m = WatchReply{Begin: r.u8() != 0, End: r.u8() != 0, Stopped: Stopped(r.u8())}
	acted, edges := r.u8(), r.u8()
	m.Within, m.Millivolts, m.Sample = r.u8(), r.u16(), r.u32()
	for range acted {
		m.Acted = append(m.Acted, r.u32())
	}
	for range edges {
		m.Edges = append(m.Edges, Edge{r.u32(), r.u16()})
	}
	return r.grown(m)
}
