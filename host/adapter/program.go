package adapter

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"
	"time"

	"chipassay/protocol"
	"chipassay/vectors/part"
)

// A Program is what the adapter's pattern engine carries out by itself:
// protocol/SPEC.md, PATTERN. Its instructions are in the chip's pin numbers; the
// methods add one each.
type Program struct {
	seat *Seat
	load protocol.PatternLoad

	cells    bool // there is a Cell in it
	accesses int  // of all cells
}

// A Group is some pins that show a number together, such as an address.
type Group uint8

// Program begins a program in which some pins are driven, those of level high.
// Settle is what reading waits for.
func (s *Seat) Program(driven, level part.Pins, settle time.Duration) *Program {
	return &Program{seat: s, load: protocol.PatternLoad{
		Settle: sixteenths(settle), Direction: uint32(s.word(driven)), Level: uint32(s.word(level & driven)),
	}}
}

// Group makes a group of pins, bit 0 first.
func (p *Program) Group(pins []int) Group {
	var positions []uint8
	for _, pin := range pins {
		positions = append(positions, uint8(PositionOf(pin, p.seat.Pins)))
	}
	p.load.Groups = append(p.load.Groups, positions)
	return Group(len(p.load.Groups) - 1)
}

// Refresh strobes 2^bits rows, shown on a group, within a period, for as long as
// the program is loaded.
func (p *Program) Refresh(rows Group, bits int, strobe int, period time.Duration) {
	p.load.RefreshUS, p.load.RefreshBits, p.load.RefreshGroup = uint16(period.Microseconds()), uint8(bits), uint8(rows)
	p.load.RefreshStrobe = uint32(At(PositionOf(strobe, p.seat.Pins)))
}

// Mask names the pins that Fold folds.
func (p *Program) Mask(pins part.Pins) { p.load.Mask = uint32(p.seat.word(pins)) }

func (p *Program) add(bytes ...byte) { p.load.Code = append(p.load.Code, bytes...) }

func (p *Program) word(opcode uint8, pins part.Pins) {
	p.load.Code = binary.LittleEndian.AppendUint32(append(p.load.Code, opcode), uint32(p.seat.word(pins)))
}

// Flip toggles driven pins.
func (p *Program) Flip(pins part.Pins) { p.word(protocol.OpFlip, pins) }

// Latch gives a group the low bits of a register, Value a number.
func (p *Program) Latch(g Group, register int) { p.add(protocol.OpLatch, uint8(g), uint8(register)) }
func (p *Program) Value(g Group, value uint32) {
	p.add(protocol.OpValue, uint8(g), uint8(value), uint8(value>>8))
}

// Show brings a group's number to its pins, which are driven; Drive makes them
// driven with it, Release lets them go.
func (p *Program) Show(g Group)    { p.add(protocol.OpShow, uint8(g)) }
func (p *Program) Drive(g Group)   { p.add(protocol.OpDrive, uint8(g)) }
func (p *Program) Release(g Group) { p.add(protocol.OpRelease, uint8(g)) }

// Check compares a group's pins with its number and counts an error where they
// differ. Take puts them out, in whole bytes.
func (p *Program) Check(g Group) { p.add(protocol.OpCheck, uint8(g)) }
func (p *Program) Take(g Group)  { p.add(protocol.OpTake, uint8(g)) }

// Step toggles driven pins, settles, samples and folds; Emit puts the signature out.
func (p *Program) Step(pins part.Pins) {
	if pins.Len() != 1 {
		p.word(protocol.OpStep, pins)
		return
	}
	for pin := range pins.All() {
		p.add(protocol.OpSpot, uint8(PositionOf(pin, p.seat.Pins)))
	}
}
func (p *Program) Emit() { p.add(protocol.OpEmit) }

// Pause waits for a time up to 15 µs, Wait for some milliseconds, with the refresh going on or not.
func (p *Program) Pause(d time.Duration) { p.add(protocol.OpPause, uint8(min(sixteenths(d), 255))) }
func (p *Program) Wait(d time.Duration, refreshed bool) {
	ms := uint16(d.Milliseconds())
	p.add(protocol.OpWait, uint8(ms), uint8(ms>>8), map[bool]uint8{true: 1}[refreshed])
}

// Mark names what follows in the records of errors.
func (p *Program) Mark(mark uint8) { p.add(protocol.OpMark, mark) }

// Loop lets a register, 0 to 3, go from first to last, both included, up or down;
// Next is the end of the loop.
func (p *Program) Loop(register, first, last int) {
	p.add(protocol.OpLoop, uint8(register), uint8(first), uint8(first>>8), uint8(last), uint8(last>>8))
}
func (p *Program) Next(register int) { p.add(protocol.OpNext, uint8(register)) }

// Room is how many bytes of code may still be added.
func (p *Program) Room() int {
	return p.seat.adapter.Capabilities.MaxPayload - len(p.load.Marshal()) - 2 // for Emit and the end
}

// An Access is one access to a word of a memory: SPEC.md, PATTERN, CELL.
type Access struct {
	Kind    protocol.AccessKind
	Group   Group         // driven, compared or taken; not of AccessWrite
	Value   uint32        // at which it is driven, or should read
	Mark    uint8         // of the record of an error
	Pause   time.Duration // up to 15 µs
	Toggles [4]part.Pins  // one after the other; the away group's word comes with the second, and goes with the fourth
}

// Cell makes accesses to the word of a memory that a register counts in the counted
// group, which is the idle or the away one. Looped over by that register, and with
// nothing else in the loop, it is by far the fastest way. More accesses than one may have
// (protocol.CellAccesses) are several, one after the other.
func (p *Program) Cell(idle, away, counted Group, register int, accesses ...Access) {
	cell := protocol.Cell{Idle: uint8(idle), Away: uint8(away), Counted: uint8(counted), Register: uint8(register)}
	for _, a := range accesses {
		access := protocol.Access{Kind: a.Kind, Mark: a.Mark, Pause: uint8(min(sixteenths(a.Pause), 255))}
		if a.Kind != protocol.AccessWrite {
			access.Group, access.Value = uint8(a.Group), uint16(a.Value)
		}
		for i, pins := range a.Toggles {
			access.Toggles[i] = uint32(p.seat.word(pins))
		}
		cell.Accesses = append(cell.Accesses, access)
	}
	p.cells, p.accesses = true, p.accesses+len(accesses)
	for some := range slices.Chunk(cell.Accesses, protocol.CellAccesses) {
		part := cell
		part.Accesses = some
		p.load.Code = part.Append(p.load.Code)
	}
}

// Convert toggles driven pins three times, one after the other, has the voltage of a pin sampled a pause after
// that, toggles all back, and puts the voltage out: Volts reads it. The first after one of another pin is worth nothing. It
// takes no more than 9 µs and the pause, up to 15 µs, from the first toggle to those back. ErrCannot where the pin is at a
// far position, whose converter samples for longer, or the firmware is older.
func (p *Program) Convert(pin int, pause time.Duration, toggles [3]part.Pins) error {
	c := p.seat.adapter.Capabilities
	switch position := PositionOf(pin, p.seat.Pins); {
	case !c.Converts:
		return fmt.Errorf("%w measure a voltage within some µs: its firmware is older", ErrCannot)
	case !c.near().Has(position):
		return fmt.Errorf("%w measure the voltage at pin %d within some µs: its converter there samples for 30", ErrCannot, pin)
	default:
		p.add(protocol.OpConvert, uint8(position), uint8(min(sixteenths(pause), 255)))
	}
	for _, pins := range toggles {
		p.load.Code = binary.LittleEndian.AppendUint32(p.load.Code, uint32(p.seat.word(pins)))
	}
	return nil
}

// Volts reads what Convert put out.
func (p *Program) Volts(output []byte) (volts []float64) {
	for ; len(output) >= 2; output = output[2:] {
		volts = append(volts, p.seat.adapter.scale*float64(binary.LittleEndian.Uint16(output))/1000)
	}
	return volts
}

// Load has the adapter check and take the program. The chip is powered.
func (p *Program) Load(ctx context.Context) error {
	a := p.seat.adapter
	if !a.Capabilities.Pattern {
		return fmt.Errorf("%w run a pattern by itself", ErrCannot)
	}
	if p.cells && !a.Capabilities.Cells {
		return fmt.Errorf("%w test a memory: its firmware is older than this program", ErrCannot)
	}
	if most := a.Capabilities.Accesses; p.accesses > most {
		return p.tooMany(most)
	}
	load := p.load
	load.Code = append(load.Code[:len(load.Code):len(load.Code)], protocol.OpEnd)
	err := a.call(ctx, &load, &protocol.Acknowledged{Request: protocol.TypePattern}, 0)
	if reply := (*protocol.ErrorReply)(nil); p.accesses > protocol.CellAccesses && errors.As(err, &reply) && reply.Code == protocol.Limit && int(reply.Detail) < p.accesses {
		return p.tooMany(int(reply.Detail))
	}
	return err
}

func (p *Program) tooMany(most int) error {
	return fmt.Errorf("%w make %d accesses to each word of this memory in turn: %d is the most", ErrCannot, p.accesses, most)
}

// RunToEnd loads the program and runs it to its end, no longer than budget without
// a word. Each is called with the progress, and stops it by returning an error; log, which may be
// nil, says before each run whether errors are to be logged.
func (p *Program) RunToEnd(ctx context.Context, budget time.Duration, log func() bool, each func(Run) error) error {
	if err := p.Load(ctx); err != nil {
		return err
	}
	for {
		run, err := p.Run(ctx, budget, log != nil && log())
		if err == nil {
			err = each(run)
		}
		if err != nil || run.Ended {
			return err
		}
	}
}

// A Run is how far a program came.
type Run struct {
	Ended     bool
	Registers [protocol.MostRegisters]uint16
	Errors    uint32 // since it was loaded
	Output    []byte
}

// Run lets the loaded program go on for a while, and log errors or not.
func (p *Program) Run(ctx context.Context, budget time.Duration, log bool) (Run, error) {
	a := p.seat.adapter
	budget = min(budget, a.Capabilities.MaxBusy)
	var reply protocol.PatternReply
	request := protocol.PatternRun{Log: log, BudgetMS: uint16(budget.Milliseconds())}
	err := a.call(ctx, &request, &reply, budget)
	return Run{reply.Ended, reply.Registers, reply.Errors, reply.Output}, err
}
