package march

import (
	"cmp"
	"fmt"
	"math/bits"
	"slices"
)

// A Shape is how a memory is organised.
type Shape struct {
	Words, Bits int  // of so many bits
	RowBits     int  // low lines of the address that choose the row; the others choose the column
	Multiplexed bool // row and column come over the same pins (dynamic RAM)
	// Pins numbers the address pin of each line, where the rows are not chosen by the
	// lowest of them: a run, and the addresses of its failures, go by the lines, and what is
	// said goes by the pins. Nil where the numbers are the same.
	Pins []int
}

// pin numbers the address pin of a line.
func (s Shape) pin(line int) int {
	if s.Pins == nil {
		return line
	}
	return s.Pins[line]
}

// AtPins gives the address that stands at the pins for one by the lines.
func (s Shape) AtPins(address int) (at int) {
	for line := range s.lines() {
		at |= address >> line & 1 << s.pin(line)
	}
	return at
}

func (s Shape) mask() uint32 { return uint32(1<<s.Bits - 1) }
func (s Shape) lines() int   { return bits.Len(uint(s.Words - 1)) }
func (s Shape) rows() int    { return min(s.Words, 1<<s.RowBits) }
func (s Shape) columns() int { return (s.Words + s.rows() - 1) / s.rows() }
func (s Shape) all() int     { return s.Words * s.Bits }

// A Failure is one read that differed.
type Failure struct {
	Address    int    `json:"address"`
	Expected   uint32 `json:"expected"`
	Seen       uint32 `json:"seen"`
	Element    int    `json:"element"`    // of the test, from 0
	Background uint32 `json:"-"`          // that the run used
	AfterWait  bool   `json:"after_wait"` // nothing was written to the word since a wait
}

// A Kind is a kind of finding.
type Kind uint8

// The kinds of findings, the most far-reaching first.
const (
	Dead         Kind = iota // no cell works
	Unwritten                // every cell keeps what it had
	AddressStuck             // Lines: one of the address; of a multiplexed pin the row's and the column's
	AddressShort             // Lines: two of the address; of multiplexed pins the rows', then the columns'
	DataStuck                // Lines: a data bit
	DataShort                // Lines: two data bits
	Half                     // Lines: of the address
	Row                      // Lines: rows
	Column                   // Lines: columns
	Scattered                // many single cells
	Retention                // one or many cells that forget
	Coupling                 // one cell, or two that disturb each other
	Cell                     // one cell
)

func (k Kind) String() string {
	return [...]string{"whole chip", "whole chip not written", "address line stuck", "address lines shorted", "data line stuck",
		"data lines shorted", "half of the array", "row", "column", "scattered cells", "retention", "coupling", "single cell"}[k]
}

// A Finding is one thing that is wrong with a memory.
type Finding struct {
	Kind    Kind
	Lines   []int // the numbers of what the kind names, from 0
	Bit     int   // the data bit concerned; -1 for all or none
	Address int   // of the first cell concerned
	Cells   int   // that failed because of it
	Words   string
}

func (f Finding) String() string { return f.Words }

// Classify names what is wrong with a memory from all failures of a test, run in
// one address order with any number of backgrounds. A ⇕ element is taken to have
// gone up; lower and higher addresses are so in the order of the run. What
// explains most cells is tried first, and explained cells are not named again. It
// is a reading of the symptoms, not a proof of the cause. No failures give no
// findings, and those outside the shape are left out.
//
// Where a log was full, leave out the element in which it stopped; if that was the
// first with failures, give the words that it had gone through as Words.
func Classify(shape Shape, test Test, failures []Failure) []Finding {
	failures = slices.DeleteFunc(slices.Clone(failures), func(f Failure) bool { return f.Address < 0 || f.Address >= shape.Words })
	if len(failures) == 0 {
		return nil
	}
	c := &classifier{Shape: shape, test: test, failures: failures, cells: map[cell]*evidence{}, causes: map[string]cause{}}
	for _, f := range failures {
		c.take(f)
	}
	if c.half() || c.addressLines() {
		return c.findings
	}
	c.dataLines()
	if c.wholeChip() {
		return c.findings
	}
	c.arrayLines()
	c.single()
	return c.findings
}

type cell struct{ address, bit int }

func (a cell) compare(b cell) int { return cmp.Or(a.address-b.address, a.bit-b.bit) }

// evidence is what one cell showed.
type evidence struct {
	marks []mark
	seen  [2]bool // the wrong values that were read
	awake bool    // it failed otherwise than after a wait
	solid bool    // it failed with the solid background
}

// A mark is a failed read.
type mark struct {
	background uint32
	inverted   uint8 // the background at this bit
	element    int
	expected   uint8
}

type classifier struct {
	Shape
	test     Test
	failures []Failure
	cells    map[cell]*evidence // not explained yet
	causes   map[string]cause   // found before, by the marks
	findings []Finding
}

func (c *classifier) take(f Failure) {
	wrong := (f.Expected ^ f.Seen) & c.mask()
	for ; wrong != 0; wrong &= wrong - 1 {
		bit := bits.TrailingZeros32(wrong)
		at := cell{f.Address, bit}
		e := c.cells[at]
		if e == nil {
			e = &evidence{}
			c.cells[at] = e
		}
		m := mark{f.Background, uint8(f.Background >> bit & 1), f.Element, uint8(f.Expected >> bit & 1)}
		if !slices.Contains(e.marks, m) {
			e.marks = append(e.marks, m)
		}
		e.seen[1-m.expected] = true
		e.awake = e.awake || !f.AfterWait
		e.solid = e.solid || f.Background == 0
	}
}

// find names what a set of cells has in common, and takes them from those that
// are to be explained.
func (c *classifier) find(f Finding, cells []cell, format string, a ...any) {
	first := slices.MinFunc(cells, cell.compare)
	f.Address, f.Cells = first.address, len(cells)
	f.Words = fmt.Sprintf(format, a...)
	for _, at := range cells {
		delete(c.cells, at)
	}
	c.findings = append(c.findings, f)
}

// failed gives the cells that are not explained and fulfil a condition, in order.
func (c *classifier) failed(is func(cell, *evidence) bool) []cell {
	var cells []cell
	for at, e := range c.cells {
		if is(at, e) {
			cells = append(cells, at)
		}
	}
	slices.SortFunc(cells, cell.compare)
	return cells
}

// wholeChip finds that every cell failed.
func (c *classifier) wholeChip() bool {
	if len(c.cells) < c.all() {
		return false
	}
	everyone := c.failed(func(cell, *evidence) bool { return true })
	read := [32][2]bool{} // by data bit
	constant, awake := true, false
	for at, e := range c.cells {
		read[at.bit][0] = read[at.bit][0] || e.seen[0]
		read[at.bit][1] = read[at.bit][1] || e.seen[1]
		constant = constant && e.seen[0] != e.seen[1]
		awake = awake || e.awake
	}
	var word uint32
	same := true
	for i := range c.Bits {
		same = same && read[i][0] != read[i][1]
		if read[i][1] {
			word |= 1 << i
		}
	}
	switch {
	case !awake:
		c.find(Finding{Kind: Retention, Bit: -1}, everyone, "every cell forgets during the wait: no refresh, or the supply does not hold")
	case same:
		c.find(Finding{Kind: Dead, Bit: -1}, everyone, "whole chip: every read gives %s; it is not selected, its outputs are dead, or it is not supplied", c.word(word))
	case constant && c.Multiplexed:
		c.find(Finding{Kind: Unwritten, Bit: -1}, everyone, "whole chip: every cell always reads the same; it is not written, or forgets all at once: write line, write circuit or refresh")
	case constant:
		c.find(Finding{Kind: Unwritten, Bit: -1}, everyone, "whole chip: every cell keeps what it had; it is not written: write line or write circuit")
	default:
		c.find(Finding{Kind: Dead, Bit: -1}, everyone, "whole chip: no cell works")
	}
	return true
}

func (c *classifier) word(w uint32) string {
	if c.Bits == 1 {
		return fmt.Sprint(w)
	}
	return fmt.Sprintf("0x%0*X", (c.Bits+3)/4, w)
}

// wrong is the value that a cell read when it failed; with both, 1.
func (e *evidence) wrong() int {
	if e.seen[1] {
		return 1
	}
	return 0
}
