package protocol

import "fmt"

// The operations of TypePattern.
const (
	patternLoad uint8 = 0
	patternRun  uint8 = 1
)

// The instructions of a pattern program. Operands follow the opcode: g is the
// number of a group, r of a register, the others are little endian.
const (
	OpEnd     uint8 = 0x00 // the last, and only there
	OpFlip    uint8 = 0x01 // word u32: toggles driven positions
	OpSet     uint8 = 0x02 // mask u32, word u32: drives the positions of mask to word
	OpLatch   uint8 = 0x03 // g, r: the group's word becomes the register's low bits
	OpValue   uint8 = 0x04 // g, value u16: the group's word becomes the value's low bits
	OpShow    uint8 = 0x05 // g: drives the group's driven positions to its word
	OpDrive   uint8 = 0x06 // g: makes the group's positions driven, at its word
	OpRelease uint8 = 0x07 // g: makes the group's positions not driven
	OpCheck   uint8 = 0x08 // g: settles, samples, compares with the group's word
	OpTake    uint8 = 0x09 // g: settles, samples, puts the group's bits out
	OpFold    uint8 = 0x0a // settles, samples, folds under the mask
	OpEmit    uint8 = 0x0b // puts the signature out and begins anew
	OpStep    uint8 = 0x0c // word u32: OpFlip and OpFold
	OpSpot    uint8 = 0x0d // position u8: OpFlip of one position, and OpFold
	OpPause   uint8 = 0x0e // n u8: at least n/16 µs
	OpWait    uint8 = 0x0f // time u16, ms; keep u8: 1 keeps the refresh up
	OpMark    uint8 = 0x10 // mark u8: of the error records that follow
	OpLoop    uint8 = 0x11 // r, first u16, last u16: counts up or down by one, last included
	OpNext    uint8 = 0x12 // r: goes on with the loop
	OpCell    uint8 = 0x13 // a Cell: accesses to a word of a memory
	OpConvert uint8 = 0x14 // position u8, pause u8, toggles 3 × u32
)

// operands is how many bytes follow each opcode; OpCell's accesses follow those.
var operands = [...]int{OpEnd: 0, OpFlip: 4, OpSet: 8, OpLatch: 2, OpValue: 3, OpShow: 1, OpDrive: 1, OpRelease: 1,
	OpCheck: 1, OpTake: 1, OpFold: 0, OpEmit: 0, OpStep: 4, OpSpot: 1, OpPause: 1, OpWait: 3, OpMark: 1, OpLoop: 5, OpNext: 1, OpCell: 5, OpConvert: 14}

// Operands gives how many bytes of operands follow an opcode; false if there is
// no such instruction. OpCell's last one says how many accesses, of AccessLen bytes,
// come behind.
func Operands(opcode uint8) (n int, known bool) {
	if int(opcode) >= len(operands) {
		return 0, false
	}
	return operands[opcode], true
}

// Limits of a pattern program.
const (
	MostGroups     = 16 // groups
	MostGroupBits  = 16 // positions of one group
	MostNibbles    = 16 // in all groups together, those of a group rounded up
	MostRegisters  = 4
	ErrorRecordLen = 8  // bytes that a logged error puts out
	MostAccesses   = 16 // of all cells of a program
	CellAccesses   = 8  // of one cell, if none pauses for more than 4 µs
	AccessLen      = 22
)

// An AccessKind is what an access does beside toggling.
type AccessKind uint8

// The kinds of access.
const (
	AccessWrite  AccessKind = iota // nothing
	AccessTurned                   // drives the group meanwhile: a write to common pins
	AccessCheck                    // samples, and compares the group with the value
	AccessTake                     // samples, and puts the group's bits out
)

// An Access is one access to a word of a memory: SPEC.md, PATTERN, CELL.
type Access struct {
	Kind    AccessKind
	Group   uint8     // 0 with AccessWrite
	Value   uint16    // of the group; 0 with AccessWrite
	Mark    uint8     // of the record of an AccessCheck
	Pause   uint8     // between the third and the fourth word, 1/16 µs
	Toggles [4]uint32 // words that are toggled one after the other
}

// A Cell is what is done to one word of a memory.
type Cell struct {
	Idle, Away uint8 // groups shown between accesses, and within each
	Counted    uint8 // that of them which gets the register's low bits
	Register   uint8
	Accesses   []Access
}

// Append appends the instruction to code.
func (c Cell) Append(code []byte) []byte {
	accesses := c.Accesses[:min(len(c.Accesses), maxCount)]
	w := &writer{payload: code}
	w.u8(OpCell).u8(c.Idle).u8(c.Away).u8(c.Counted).u8(c.Register).u8(uint8(len(accesses)))
	for _, a := range accesses {
		w.u8(uint8(a.Kind)).u8(a.Group).u16(a.Value).u8(a.Mark).u8(a.Pause)
		for _, word := range a.Toggles {
			w.u32(word)
		}
	}
	return w.payload
}

// ReadCell reads the instruction at the beginning of code, and gives the code behind
// it; what is none is ErrPayload.
func ReadCell(code []byte) (c Cell, rest []byte, err error) {
	r := reader{rest: code}
	opcode := r.u8()
	c = Cell{Idle: r.u8(), Away: r.u8(), Counted: r.u8(), Register: r.u8()}
	for range r.u8() {
		a := Access{Kind: AccessKind(r.u8()), Group: r.u8(), Value: r.u16(), Mark: r.u8(), Pause: r.u8()}
		for i := range a.Toggles {
			a.Toggles[i] = r.u32()
		}
		c.Accesses = append(c.Accesses, a)
	}
	if r.short || opcode != OpCell {
		return Cell{}, nil, fmt.Errorf("cell: %w", ErrPayload)
	}
	return c, r.rest, nil
}

// PatternLoad checks and loads a program, and drives its initial levels.
// Acknowledged is the reply.
type PatternLoad struct {
	Settle        uint16 // from driving to sampling, 1/16 µs, for all that samples
	Direction     uint32 // word of the positions driven at the beginning
	Level         uint32 // word of those driven high
	Mask          uint32 // word of the positions that are folded
	RefreshUS     uint16 // all rows are refreshed within this, µs; 0 none
	RefreshBits   uint8  // 2^bits rows
	RefreshGroup  uint8  // the rows' address: the lowest bits of the group
	RefreshStrobe uint32 // word of the one position that is toggled and toggled back for each row
	Groups        [][]uint8
	Code          []byte
}

// Type is TypePattern.
func (*PatternLoad) Type() Type { return TypePattern }

// Marshal gives the payload.
func (m *PatternLoad) Marshal() []byte {
	groups := m.Groups[:min(len(m.Groups), maxCount)]
	w := new(writer).u8(patternLoad).u8(uint8(len(groups))).u16(m.Settle).u32(m.Direction).u32(m.Level).u32(m.Mask)
	w.u16(m.RefreshUS).u8(m.RefreshBits).u8(m.RefreshGroup).u32(m.RefreshStrobe)
	for _, group := range groups {
		group = group[:min(len(group), maxCount)]
		w.u8(uint8(len(group)))
		w.payload = append(w.payload, group...)
	}
	return append(w.payload, m.Code...)
}

// Unmarshal reads the payload. It does not check the code.
func (m *PatternLoad) Unmarshal(payload []byte) error {
	r := reader{rest: payload}
	operation, groups := r.u8(), r.u8()
	*m = PatternLoad{Settle: r.u16(), Direction: r.u32(), Level: r.u32(), Mask: r.u32(), RefreshUS: r.u16(),
		RefreshBits: r.u8(), RefreshGroup: r.u8(), RefreshStrobe: r.u32()}
	for range groups {
		n := r.u8()
		if n < 1 || n > MostGroupBits {
			return fmt.Errorf("%v: %w: a group of %d positions", m.Type(), ErrPayload, n)
		}
		m.Groups = append(m.Groups, append([]uint8{}, r.take(int(n))...))
	}
	m.Code = append(m.Code, r.rest...)
	r.rest = nil
	if operation != patternLoad || groups > MostGroups || len(m.Code) == 0 {
		return fmt.Errorf("%v: %w: no program", m.Type(), ErrPayload)
	}
	return r.exact(m)
}

// PatternRun runs the loaded program from where it stopped.
// PatternReply is the reply.
type PatternRun struct {
	Log      bool   // put a record out for each error
	BudgetMS uint16 // run no longer than this, to a first order, ms
}

const flagLog = 1 << 0

// Type is TypePattern.
func (*PatternRun) Type() Type { return TypePattern }

// Marshal gives the payload.
func (m *PatternRun) Marshal() []byte {
	var flags uint8
	if m.Log {
		flags |= flagLog
	}
	return new(writer).u8(patternRun).u8(flags).u16(m.BudgetMS).payload
}

// Unmarshal reads the payload.
func (m *PatternRun) Unmarshal(payload []byte) error {
	r := reader{rest: payload}
	operation, flags := r.u8(), r.u8()
	*m = PatternRun{Log: flags&flagLog != 0, BudgetMS: r.u16()}
	if operation != patternRun || flags&^flagLog != 0 {
		return fmt.Errorf("%v: %w: reserved field used", m.Type(), ErrPayload)
	}
	return r.exact(m)
}

// PatternReply is the reply to PatternRun.
type PatternReply struct {
	Ended     bool // else it is to be continued by another PatternRun
	Registers [MostRegisters]uint16
	Errors    uint32 // since PatternLoad; stays at its highest value
	Output    []byte // of OpTake, OpEmit and logged errors of OpCheck, in their order
}

// Type is the type of the reply.
func (*PatternReply) Type() Type { return TypePattern.Reply() }

// Marshal gives the payload.
func (m *PatternReply) Marshal() []byte {
	var state uint8
	if !m.Ended {
		state = 1
	}
	w := new(writer).u8(state).u8(0)
	for _, register := range m.Registers {
		w.u16(register)
	}
	return append(w.u32(m.Errors).payload, m.Output...)
}

// Unmarshal reads the payload.
func (m *PatternReply) Unmarshal(payload []byte) error {
	r := reader{rest: payload}
	*m = PatternReply{Ended: r.u8() == 0}
	r.u8()
	for i := range m.Registers {
		m.Registers[i] = r.u16()
	}
	m.Errors = r.u32()
	m.Output = append(m.Output, r.rest...)
	return r.grown(m)
}

// An ErrorRecord is the output of a logged error of OpCheck.
type ErrorRecord struct {
	Mark      uint8     // of the last OpMark
	Registers [2]uint16 // the first two
	Seen      uint16    // the group's bits as read
}

// ReadErrorRecord reads the record at the beginning of the output, which is
// ErrorRecordLen bytes long; what is shorter is ErrPayload.
func ReadErrorRecord(output []byte) (ErrorRecord, error) {
	r := reader{rest: output}
	e := ErrorRecord{Mark: r.u8()}
	r.u8()
	e.Registers[0], e.Registers[1], e.Seen = r.u16(), r.u16(), r.u16()
	if r.short {
		return ErrorRecord{}, fmt.Errorf("error record: %w", ErrPayload)
	}
	return e, nil
}
