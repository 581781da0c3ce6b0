package memory

import (
	"math/bits"
	"slices"
	"time"

	"chipassay/host/adapter"
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

// A cycle writes the instructions of single accesses.
type cycle struct {
	bench
	*adapter.Program
	address, column, in, out adapter.Group
	held                     part.Pins // that stay inactive
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
		c.address = p.Group(pins)
	}
	c.out = p.Group(b.m.DataOut)
	c.in = c.out
	if len(b.m.DataIn) > 0 && !b.m.CommonData() {
		c.in = p.Group(b.m.DataIn)
	}
	return c
}

func (c cycle) flip(pins part.Pins) {
	if pins &^= c.held; pins != 0 {
		c.Flip(pins)
	}
}

// read opens the memory, does something with its outputs, and closes it.
func (c cycle) read(look func()) {
	open := c.selects() | pinOf(c.m.Enable)
	switch {
	case c.m.Kind == part.DynamicRAM:
		c.row()
		open = pinOf(c.m.CAS, c.m.Enable)
	case c.staysEnabled():
		open = c.selects()
		if disabled := pinOf(c.m.Enable) & c.held; disabled != 0 {
			c.Flip(disabled)
			defer c.Flip(disabled)
		}
	}
	c.flip(open)
	look()
	c.flip(open | pinOf(c.m.RAS))
}

// row opens a row of a dynamic memory and brings the column to the address pins.
func (c cycle) row() {
	c.Show(c.address)
	c.flip(pinOf(c.m.RAS))
	c.Show(c.column)
}

// expect reads a word and compares it.
func (c cycle) expect(word uint32) {
	if c.m.Inverted {
		word = ^word
	}
	c.Value(c.out, word&(1<<c.m.Bits-1))
	c.read(func() { c.Check(c.out) })
}

// write writes a word. With common pins the memory is set to write before its
// inputs are driven, and its outputs never meet them.
func (c cycle) write(word uint32) {
	c.Value(c.in, word&(1<<c.m.Bits-1))
	switch {
	case c.m.Kind == part.DynamicRAM: // an early write: the outputs stay released
		c.give()
		c.row()
		c.flip(pinOf(c.m.Write))
		c.flip(pinOf(c.m.CAS))
		c.flip(pinOf(c.m.CAS, c.m.RAS, c.m.Write))
		if c.m.CommonData() {
			c.Release(c.in)
		}
	case c.m.CommonData():
		c.flip(pinOf(c.m.Write))
		c.Drive(c.in)
		c.flip(c.selects())
		c.pulse()
		c.flip(c.selects())
		c.Release(c.in)
		c.flip(pinOf(c.m.Write))
	default:
		c.Show(c.in)
		c.flip(c.selects())
		c.flip(pinOf(c.m.Write))
		c.pulse()
		c.flip(pinOf(c.m.Write))
		c.flip(c.selects())
	}
}

// give brings a word to the inputs of a dynamic memory.
func (c cycle) give() {
	if c.m.CommonData() {
		c.Drive(c.in)
	} else {
		c.Show(c.in)
	}
}

// pulse waits where a write pulse must be longer than an instruction takes.
func (c cycle) pulse() {
	if c.m.WritePulse > leastSettle {
		c.Pause(c.m.WritePulse)
	}
}

// over loops over all words, in ascending order or the other way: of a dynamic
// memory register 0 is the row and register 1 the column, of a static one
// register 0 counts.
func (c cycle) over(order march.AddressOrder, down bool, body func()) {
	loop := func(register, count int) {
		if down {
			c.Loop(register, count-1, 0)
		} else {
			c.Loop(register, 0, count-1)
		}
	}
	if c.m.Kind != part.DynamicRAM {
		loop(0, c.m.Words)
		c.Latch(c.address, 0)
		c.Show(c.address)
		body()
		c.Next(0)
		return
	}
	row, column := func() { loop(0, 1<<c.m.RowBits); c.Latch(c.address, 0) }, func() { loop(1, 1<<c.m.ColumnBits); c.Latch(c.column, 1) }
	if order.Lines[0] == 0 { // the row changes with every step
		column()
		row()
		body()
		c.Next(0)
		c.Next(1)
		return
	}
	row()
	column()
	body()
	c.Next(1)
	c.Next(0)
}

// addressOf gives the word that registers 0 and 1 stand for, by the array's lines.
func (b bench) addressOf(order march.AddressOrder, registers [2]uint16) int {
	if b.m.Kind == part.DynamicRAM {
		return int(registers[1])<<b.m.RowBits | int(registers[0])
	}
	return order.Address(int(registers[0]))
}
