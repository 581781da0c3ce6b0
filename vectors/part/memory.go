package part

import "time"

// A Memory is how a memory part is organised, controlled and timed: what logic
// definitions say in equations. A ROM is read only. Pin numbers count from 1.
type Memory struct {
	Kind MemoryKind

	Words, Bits int   // words × bits a word
	Address     []int // pins, bit 0 first; of a DynamicRAM the multiplexed ones
	DataIn      []int // pins, bit 0 first; empty for ROMs
	DataOut     []int // pins, bit 0 first; those of DataIn where inputs and outputs are common

	Select      []Control // all must be active for a cycle; none in a DynamicRAM, which RAS and CAS select
	Write       *Control  // nil for ROMs
	Enable      *Control  // of the outputs; nil where there is none
	RAS, CAS    *Control  // row and column address strobes of a DynamicRAM, else nil
	RowBits     int       // of the word's address, the low bits: rows of the array as a bitmap shows it
	ColumnBits  int       // of the word's address, above the row's
	Inverted    bool      // reads the complement of what was written
	Access      time.Duration
	WritePulse  time.Duration // shortest, of the slowest grade; 0 for ROMs
	RefreshRows int           // rows to be strobed, 0 for all but DynamicRAM

	RefreshWithin time.Duration // the time within which all of them must be
}

// A MemoryKind is how a memory keeps its words.
type MemoryKind uint8

// The kinds of memory.
const (
	StaticRAM MemoryKind = iota
	DynamicRAM
	PROM  // bipolar, with fuses
	EPROM // erasable by ultraviolet light, and its one-time and mask-programmed twins
)

func (k MemoryKind) String() string {
	return [...]string{"static RAM", "dynamic RAM", "PROM", "EPROM"}[k]
}

// ROM tells whether the memory is only read by the adapter.
func (k MemoryKind) ROM() bool { return k == PROM || k == EPROM }

// A Control is a control pin with the level at which it acts.
type Control struct {
	Pin    int
	Active bool // true: high
}
