package memory

import (
	"math/bits"
	"slices"
	"time"

	"chipassay/host/adapter"
	"chipassay/protocol"
	"chipassay/vectors/march"
	"chipassay/vectors/part"
)

// A bench writes the programs by which the adapter reaches a memory's words.
type bench struct {
	socket Socket
	t      part.Type
	m      *part.Memory
}

// driven are the pins that the adapter drives between cycles, and idle those of
// them that are then high: nothing is selected. The outputs of an EEPROM stay enabled,
// which inhibits writing: as drives are released and all pins fall to the low bias at
// their own pace, its write and chip enables may be low before its output enable is.
func (b bench) driven() (driven, idle part.Pins) {
	for _, p := range b.t.Variant.Pins {
		if p.Role == part.Input {
			driven = driven.With(p.Number, true)
			idle = idle.With(p.Number, p.Tied == part.TiedHigh)
		}
	}
	for _, c := range b.controls() {
		driven, idle = driven.With(c.Pin, true), idle.With(c.Pin, !c.Active)
	}
	if b.staysEnabled() {
		idle = idle.With(b.m.Enable.Pin, b.m.Enable.Active)
	}
	return driven, idle
}

// staysEnabled reports whether the output enable is active between cycles too.
func (b bench) staysEnabled() bool { return b.m.Kind == part.EEPROM && b.m.Enable != nil }

func (b bench) controls() []part.Control {
	return append(slices.Clone(b.m.Select), has(b.m.Write, b.m.Enable, b.m.RAS, b.m.CAS)...)
}

// has are the controls of some that a memory has.
func has(controls ...*part.Control) (all []part.Control) {
	for _, c := range controls {
		if c != nil {
			all = append(all, *c)
		}
	}
	return all
}

func pinsOf(controls []part.Control) (pins part.Pins) {
	for _, c := range controls {
		pins = pins.With(c.Pin, true)
	}
	return pins
}

func pinOf(controls ...*part.Control) part.Pins { return pinsOf(has(controls...)) }

// selects are the pins that select the memory.
func (b bench) selects() part.Pins { return pinsOf(b.m.Select) }

// A cycle makes up accesses, and writes the instructions that make them.
type cycle struct {
	bench
	*adapter.Program
	address, column, in, out adapter.Group
	above                    adapter.Group // of a static memory of over 2^16 words, the address lines beyond
	held                     part.Pins     // that stay inactive
}

// leastSettle is what a bipolar memory's output is given at least.
const leastSettle = 500 * time.Nanosecond

// lines numbers the address pin of each line of the array: those of the rows, then
// those of the columns.
func (b bench) lines() []int { return slices.Concat(b.m.Row, b.m.Column) }

// pinsOf numbers the address pins that follow the bits of a count in an order.
func (b bench) pinsOf(order march.AddressOrder) (numbers []int) {
	lines := b.lines()
	for _, line := range order.Lines {
		numbers = append(numbers, lines[line])
	}
	return numbers
}

// counting are the numbers of the address pins in their own order.
func (b bench) counting() (numbers []int) {
	for i := range b.m.Address {
		numbers = append(numbers, i)
	}
	return numbers
}

// program begins a program with its groups. A static memory's address shows a
// count at the pins of these numbers, bit 0 first.
func (b bench) program(numbers []int) cycle {
	driven, idle := b.driven()
	p := b.socket.Program(driven, idle, max(leastSettle, b.m.Access))
	c := cycle{bench: b, Program: p}
	if b.m.Kind == part.DynamicRAM {
		c.address = p.Group(b.m.Address[:b.m.RowBits])
		c.column = p.Group(b.m.Address[:b.m.ColumnBits])
		p.Refresh(c.address, bits.Len(uint(b.m.RefreshRows-1)), b.m.RAS.Pin, b.m.RefreshWithin)
	} else {
		pins := make([]int, len(numbers))
		for i, number := range numbers {
			pins[i] = b.m.Address[number]
		}
		c.address = p.Group(pins[:min(len(pins), countBits)])
		if c.goesAbove() {
			c.above = p.Group(pins[countBits:])
		}
	}
	c.out = p.Group(b.m.DataOut)
	c.in = c.out
	if len(b.m.DataIn) > 0 && !b.m.CommonData() {
		c.in = p.Group(b.m.DataIn)
	}
	return c
}

// countBits is how many lines a register counts, and a group shows.
const countBits = protocol.MostGroupBits

// goesAbove reports whether a static memory has more address lines than that.
func (b bench) goesAbove() bool { return b.m.Kind != part.DynamicRAM && len(b.m.Address) > countBits }

// An access toggles pins four times; those that are held stay out of it.
func (c cycle) access(kind protocol.AccessKind, toggles ...part.Pins) adapter.Access {
	a := adapter.Access{Kind: kind}
	for i, pins := range toggles {
		a.Toggles[i] = pins &^ c.held
	}
	return a
}

// read opens the memory, has its outputs looked at, and closes it. An output enable that is
// active between accesses is inactive in one that holds it.
func (c cycle) read(kind protocol.AccessKind, value uint32) adapter.Access {
	open, row, disabled := c.selects()|pinOf(c.m.Enable), part.Pins(0), part.Pins(0)
	switch {
	case c.m.Kind == part.DynamicRAM:
		open, row = pinOf(c.m.CAS, c.m.Enable), pinOf(c.m.RAS)
	case c.staysEnabled():
		open, disabled = c.selects(), pinOf(c.m.Enable)&c.held
	}
	a := c.access(kind, row, 0, open, row|open)
	a.Toggles[0] |= disabled
	a.Group, a.Value, a.Pause = c.out, value, max(leastSettle, c.m.Access)
	return a
}

// take reads a word and puts it out.
func (c cycle) take() adapter.Access { return c.read(protocol.AccessTake, 0) }

// expect reads a word and compares it.
func (c cycle) expect(word uint32) adapter.Access {
	if c.m.Inverted {
		word = ^word
	}
	return c.read(protocol.AccessCheck, word&(1<<c.m.Bits-1))
}

// write writes a word. With common pins the memory is set to write before its inputs are
// driven, and its outputs never meet them: those of a dynamic memory stay released in an
// early write.
func (c cycle) write(word uint32) (a adapter.Access) {
	write, selects, in := pinOf(c.m.Write), c.selects(), part.Pins(0)
	kind := protocol.AccessTurned
	if !c.m.CommonData() {
		kind = protocol.AccessWrite
		for bit, pin := range c.m.DataIn {
			in = in.With(pin, word>>bit&1 != 0) // they are low between accesses
		}
	}
	switch {
	case c.m.Kind == part.DynamicRAM:
		row, column := pinOf(c.m.RAS), pinOf(c.m.CAS)
		a = c.access(kind, row|in, write, column, row|column|write|in)
	case c.m.CommonData():
		a = c.access(kind, write, 0, selects, selects)
	default:
		a = c.access(kind, in, selects, write, write)
	}
	a.Group, a.Value, a.Pause = c.in, word&(1<<c.m.Bits-1), c.m.WritePulse
	return a
}

// over makes accesses to all words, in ascending order or the other way: of a dynamic
// memory register 0 is the row and register 1 the column, of a static one register 0
// counts, and register 1 the lines above.
func (c cycle) over(order march.AddressOrder, down bool, accesses ...adapter.Access) {
	loop := func(register, count int) {
		if down {
			c.Loop(register, count-1, 0)
		} else {
			c.Loop(register, 0, count-1)
		}
	}
	switch {
	case c.goesAbove():
		loop(1, max(1, c.m.Words>>countBits))
		c.Latch(c.above, 1)
		c.Show(c.above)
		loop(0, min(c.m.Words, 1<<countBits))
		c.Cell(c.address, c.address, c.address, 0, accesses...)
		c.Next(0)
		c.Next(1)
	case c.m.Kind != part.DynamicRAM:
		loop(0, c.m.Words)
		c.Cell(c.address, c.address, c.address, 0, accesses...)
		c.Next(0)
	case order.Lines[0] == 0: // the row changes with every step
		loop(1, 1<<c.m.ColumnBits)
		c.Latch(c.column, 1)
		loop(0, 1<<c.m.RowBits)
		c.Cell(c.address, c.column, c.address, 0, accesses...)
		c.Next(0)
		c.Next(1)
	default:
		loop(0, 1<<c.m.RowBits)
		c.Latch(c.address, 0)
		loop(1, 1<<c.m.ColumnBits)
		c.Cell(c.address, c.column, c.column, 1, accesses...)
		c.Next(1)
		c.Next(0)
	}
}

// at makes accesses to one word.
func (c cycle) at(address int, accesses ...adapter.Access) {
	if c.goesAbove() {
		c.Loop(1, address>>countBits, address>>countBits)
		c.Latch(c.above, 1)
		c.Show(c.above)
		c.Next(1)
		address &= 1<<countBits - 1
	}
	if c.m.Kind != part.DynamicRAM {
		c.Loop(0, address, address)
		c.Cell(c.address, c.address, c.address, 0, accesses...)
		c.Next(0)
		return
	}
	row, column := address&(1<<c.m.RowBits-1), address>>c.m.RowBits
	c.Loop(0, row, row)
	c.Latch(c.address, 0)
	c.Loop(1, column, column)
	c.Cell(c.address, c.column, c.column, 1, accesses...)
	c.Next(1)
	c.Next(0)
}

// count is how far registers 0 and 1 have counted in a static memory.
func (b bench) count(registers [2]uint16) int {
	if b.goesAbove() {
		return int(registers[1])<<countBits | int(registers[0])
	}
	return int(registers[0])
}

// addressOf gives the word that registers 0 and 1 stand for, by the array's lines.
func (b bench) addressOf(order march.AddressOrder, registers [2]uint16) int {
	if b.m.Kind == part.DynamicRAM {
		return int(registers[1])<<b.m.RowBits | int(registers[0])
	}
	return order.Address(b.count(registers))
}
