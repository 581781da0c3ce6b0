package part

import (
	"slices"
	"time"
)

// A Memory is how a memory part is organised, controlled and timed: what logic
// definitions say in equations. A ROM is read only. Pin numbers count from 1.
type Memory struct {
	Kind MemoryKind

	Words, Bits int   // words × bits a word
	Address     []int // pins, bit 0 first; of a DynamicRAM the multiplexed ones
	DataIn      []int // pins, bit 0 first; empty for ROMs
	DataOut     []int // pins, bit 0 first; those of DataIn where inputs and outputs are common

	Select   []Control // all must be active for a cycle; mostly none in a DynamicRAM, which RAS and CAS select
	Write    *Control  // nil for ROMs
	Enable   *Control  // of the outputs; nil where there is none
	RAS, CAS *Control  // row and column address strobes of a DynamicRAM, else nil

	// The array as a bitmap shows it. Row and Column list bits of the word's
	// address, the least significant first; usually the low bits are the row. A
	// DynamicRAM takes its rows with RAS, and Row is then always the low bits.
	RowBits, ColumnBits int
	Row, Column         []int

	Inverted   bool          // reads the complement of what was written
	Access     time.Duration // from address to output, of the slowest grade
	WritePulse time.Duration // shortest, of the slowest grade; 0 for ROMs

	Rewrite   *Rewrite // how an EEPROM is written; nil where it is only read here
	NoRewrite string   // why one is only read

	RefreshRows   int           // rows to be strobed, 0 for all but a DynamicRAM
	RefreshWithin time.Duration // in which each of them must be
}

// A Rewrite is how an EEPROM is written, a word at a time: selected, with its outputs
// disabled, by a pulse at a pin that is tied for reading.
type Rewrite struct {
	Write Control
	Pulse time.Duration // shortest
	Cycle time.Duration // longest that the memory takes by itself to erase and write the word
}

// A MemoryKind is how a memory keeps its words.
type MemoryKind uint8

// The kinds of memory.
const (
	StaticRAM MemoryKind = iota
	DynamicRAM
	PROM    // bipolar, with fuses
	EPROM   // erasable by ultraviolet light, and its twins without a window
	MaskROM // with the contents it was made with
	EEPROM  // erased and written electrically, word by word, where the definition says how
)

func (k MemoryKind) String() string {
	return [...]string{"static RAM", "dynamic RAM", "PROM", "EPROM", "mask ROM", "EEPROM"}[k]
}

// ROM reports whether the memory is read, and not written in its use.
func (k MemoryKind) ROM() bool { return k >= PROM }

// A Control is a control pin with the level at which it acts.
type Control struct {
	Pin    int
	Active bool // true: high
	// Either says that the level is another in each order: a mask ROM's select is made
	// to act high or low with its contents. Active is then the common one.
	Either bool
}

// Place gives the row and the column of the array that hold a word.
func (m *Memory) Place(address int) (row, column int) {
	for i, bit := range m.Row {
		row |= address >> bit & 1 << i
	}
	for i, bit := range m.Column {
		column |= address >> bit & 1 << i
	}
	return row, column
}

// CommonData reports whether the data go in and out at the same pins.
func (m *Memory) CommonData() bool { return slices.Equal(m.DataIn, m.DataOut) }

// AddressBits is the width of a word's address.
func (m *Memory) AddressBits() int { return m.RowBits + m.ColumnBits }

// Memory reports whether the part is a memory, which has no Logic.
func (p *Part) Memory() bool { return len(p.Variants) > 0 && p.Variants[0].Memory != nil }
