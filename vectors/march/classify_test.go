package march_test

import (
	"fmt"
	"math/bits"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"chipassay/vectors/march"
)

// A chip is a memory with a fault wired into it by hand. It shares nothing with
// the simulator of the package.
type chip struct {
	cells   []uint32
	address func(int) int               // what the decoder sees
	in, out func(uint32) uint32         // data lines
	stored  func(at int, before uint32) // after a write
	reads   func(at int)                // after a read
	waits   func()
	answer  func(at int, word uint32) uint32 // of the cells
}

// content is what the cells hold at power-up: a pattern without regularity.
func newChip(words int) *chip {
	c := &chip{cells: make([]uint32, words)}
	x := uint32(1)
	for i := range c.cells {
		x ^= x << 13
		x ^= x >> 17
		x ^= x << 5
		c.cells[i] = x
	}
	return c
}

func (c *chip) decode(a int) int {
	if c.address != nil {
		return c.address(a)
	}
	return a
}

func (c *chip) write(a int, word uint32) {
	a = c.decode(a)
	before := c.cells[a]
	if c.in != nil {
		word = c.in(word)
	}
	c.cells[a] = word
	if c.stored != nil {
		c.stored(a, before)
	}
}

func (c *chip) read(a int) uint32 {
	a = c.decode(a)
	word := c.cells[a]
	if c.answer != nil {
		word = c.answer(a, word)
	}
	if c.out != nil {
		word = c.out(word)
	}
	if c.reads != nil {
		c.reads(a)
	}
	return word
}

// test runs a march test with all backgrounds, as an adapter would.
func (c *chip) test(m march.Test, s march.Shape, order march.AddressOrder) []march.Failure {
	var failures []march.Failure
	mask := uint32(1<<s.Bits - 1)
	for _, background := range march.Backgrounds(s.Bits) {
		waited := make([]bool, s.Words)
		for i, e := range m.Elements {
			if e.Wait {
				if c.waits != nil {
					c.waits()
				}
				for a := range waited {
					waited[a] = true
				}
			}
			for count := range s.Words {
				if e.Order == march.Down {
					count = s.Words - 1 - count
				}
				a := order.Address(count)
				for _, o := range e.Operations {
					word := background
					if o.Value == 1 {
						word = ^background & mask
					}
					if o.Write {
						c.write(a, word)
						waited[a] = false
						continue
					}
					if seen := c.read(a) & mask; seen != word {
						failures = append(failures, march.Failure{Address: a, Expected: word, Seen: seen, Element: i, Background: background, AfterWait: waited[a]})
					}
				}
			}
		}
	}
	return failures
}

func classify(t require.TestingT, c *chip, name string, s march.Shape) []march.Finding {
	m, err := march.ByName(name)
	require.NoError(t, err)
	return classifyTest(c, m, s)
}

func classifyTest(c *chip, m march.Test, s march.Shape) []march.Finding {
	order := march.Orders(s.RowBits, bits.Len(uint(s.Words-1))-s.RowBits)[0]
	return march.Classify(s, m, c.test(m, s, order))
}

var (
	static   = march.Shape{Words: 1024, Bits: 4, RowBits: 6}                    // 1K×4
	small    = march.Shape{Words: 16, Bits: 4, RowBits: 4}                      // 16×4
	narrow   = march.Shape{Words: 256, Bits: 1, RowBits: 4}                     // 256×1
	multiply = march.Shape{Words: 4096, Bits: 1, RowBits: 6, Multiplexed: true} // 4K×1, dynamic
)

func one(t *testing.T, findings []march.Finding, kind march.Kind, words string) march.Finding {
	t.Helper()
	if !assert.Len(t, findings, 1, "%v", findings) {
		return march.Finding{}
	}
	assert.Equal(t, kind, findings[0].Kind, findings[0].Words)
	assert.Equal(t, words, findings[0].String())
	return findings[0]
}

func TestClassifyGood(t *testing.T) {
	for _, s := range []march.Shape{static, small, narrow, multiply} {
		for _, m := range march.All() {
			assert.Empty(t, classifyTest(newChip(s.Words), m, s))
		}
	}
}

func TestClassifySingleCell(t *testing.T) {
	const at, bit = 0x1A5, 2
	c := newChip(static.Words)
	c.answer = func(a int, w uint32) uint32 {
		if a == at {
			return w | 1<<bit
		}
		return w
	}
	f := one(t, classify(t, c, "March C-", static), march.Cell, "the cell at address 0x1A5 bit 2 is stuck at 1")
	assert.Equal(t, at, f.Address)
	assert.Equal(t, bit, f.Bit)

	c = newChip(static.Words)
	c.stored = func(a int, before uint32) {
		if a == at && before>>bit&1 == 1 {
			c.cells[a] |= 1 << bit
		}
	}
	c.cells[at] = 0
	one(t, classify(t, c, "March C-", static), march.Cell, "the cell at address 0x1A5 bit 2 cannot go from 1 to 0")

	c = newChip(static.Words)
	c.reads = func(a int) {
		if a == at {
			c.cells[a] &^= 1 << bit
		}
	}
	one(t, classify(t, c, "March SS", static), march.Cell, "the cell at address 0x1A5 bit 2 loses a 1 when it is read")
}

func TestClassifyCoupling(t *testing.T) {
	const aggressor, victim = 0x21, 0x87
	couple := func(from, to int) *chip {
		c := newChip(narrow.Words)
		c.stored = func(a int, before uint32) { // a rise of one clears the other
			if a == from && before&1 == 0 && c.cells[a]&1 == 1 {
				c.cells[to] = 0
			}
		}
		return c
	}
	one(t, classify(t, couple(aggressor, victim), "March C-", narrow), march.Coupling, "the cell at address 0x87 is disturbed when a cell at a lower address rises, or when a cell at a higher address falls")
	one(t, classify(t, couple(victim, aggressor), "March C-", narrow), march.Coupling, "the cell at address 0x21 is disturbed when a cell at a higher address rises, or when a cell at a lower address falls")

	for _, test := range []string{"March C-", "March SS", "March B"} {
		c := newChip(narrow.Words)
		c.stored = func(a int, before uint32) { // the two cells are joined
			switch a {
			case aggressor:
				c.cells[victim] = c.cells[a]
			case victim:
				c.cells[aggressor] = c.cells[a]
			}
		}
		f := one(t, classify(t, c, test, narrow), march.Coupling, "the cells at address 0x21 and address 0x87 disturb each other")
		assert.Equal(t, 2, f.Cells)
	}

	c := newChip(static.Words)
	c.stored = func(a int, _ uint32) { // within a word: bit 3 is 1 only where bit 0 is
		if a == victim && c.cells[a]&1 == 0 {
			c.cells[a] &^= 1 << 3
		}
	}
	one(t, classify(t, c, "March C-", static), march.Coupling, "the cell at address 0x087 bit 3 is disturbed by another bit of its word: it fails only where they differ")
}

func TestClassifyRowAndColumn(t *testing.T) {
	c := newChip(static.Words) // row 5 is never selected, the sense amplifiers give 1
	c.answer = func(a int, w uint32) uint32 {
		if a&63 == 5 {
			return 0xF
		}
		return w
	}
	f := one(t, classify(t, c, "March C-", static), march.Row, "row 5 fails")
	assert.Equal(t, []int{5}, f.Lines)
	assert.Equal(t, 16*4, f.Cells)

	c = newChip(static.Words) // a bit line of column 9, data bit 1
	c.answer = func(a int, w uint32) uint32 {
		if a>>6 == 9 {
			return w &^ 2
		}
		return w
	}
	f = one(t, classify(t, c, "March C-", static), march.Column, "column 9 of data bit 1 fails")
	assert.Equal(t, 1, f.Bit)
	assert.Equal(t, 64, f.Cells)

	c = newChip(narrow.Words) // rows 2, 7 and 11, column 3, and a cell
	c.answer = func(a int, w uint32) uint32 {
		if row := a & 15; row == 2 || row == 7 || row == 11 || a>>4 == 3 || a == 0x50 {
			return 0
		}
		return w
	}
	findings := classify(t, c, "March C-", narrow)
	require.Len(t, findings, 3, "%v", findings)
	assert.Equal(t, "rows 2, 7 and 11 fail", findings[0].Words)
	assert.Equal(t, "column 3 fails", findings[1].Words)
	assert.Equal(t, "the cell at address 0x50 is stuck at 0", findings[2].Words)
}

func TestClassifyEveryAddressLineStuck(t *testing.T) {
	for _, s := range []march.Shape{static, small, narrow} {
		for line := range bits.Len(uint(s.Words - 1)) {
			for _, high := range []bool{false, true} {
				for _, test := range []string{"MATS+", "MATS++", "March X", "March Y", "March C-", "March A", "March B", "March SS", "March G"} {
					c := newChip(s.Words)
					c.address = func(a int) int {
						if high {
							return a | 1<<line
						}
						return a &^ (1 << line)
					}
					f := one(t, classify(t, c, test, s), march.AddressStuck, fmt.Sprintf("address line A%d is stuck or open: both its levels reach the same cells", line))
					assert.Equal(t, []int{line}, f.Lines)
				}
			}
		}
	}
}

func TestClassifyEveryTwoAddressLinesShorted(t *testing.T) {
	for _, s := range []march.Shape{static, small, narrow} {
		for j := range bits.Len(uint(s.Words - 1)) {
			for i := range j {
				for _, high := range []bool{false, true} {
					c := newChip(s.Words)
					c.address = func(a int) int {
						level := a >> i & (a >> j) & 1
						if high {
							level = (a>>i | a>>j) & 1
						}
						return a&^(1<<i|1<<j) | level<<i | level<<j
					}
					for _, test := range []string{"MATS+", "March C-"} {
						f := one(t, classify(t, c, test, s), march.AddressShort, fmt.Sprintf("address lines A%d and A%d are shorted", i, j))
						assert.Equal(t, []int{i, j}, f.Lines)
					}
				}
			}
		}
	}
}

func TestClassifyMultiplexedAddress(t *testing.T) {
	c := newChip(multiply.Words)
	c.address = func(a int) int { return a &^ (1<<3 | 1<<9) }
	f := one(t, classify(t, c, "March C-", multiply), march.AddressStuck, "address line A3 is stuck or open: both its levels reach the same cells")
	assert.Equal(t, []int{3, 9}, f.Lines)

	c.address = func(a int) int { return a | 1<<9 }
	one(t, classify(t, c, "March C-", multiply), march.AddressStuck, "column address A3 is stuck inside the chip: both its levels reach the same cells")

	c.address = func(a int) int { // pins 1 and 4, a low wins
		row, column := a>>1&(a>>4)&1, a>>7&(a>>10)&1
		return a&^(1<<1|1<<4|1<<7|1<<10) | row*(1<<1|1<<4) | column*(1<<7|1<<10)
	}
	f = one(t, classify(t, c, "March C-", multiply), march.AddressShort, "address lines A1 and A4 are shorted")
	assert.Equal(t, []int{1, 4, 7, 10}, f.Lines)
}

func TestClassifyDataLines(t *testing.T) {
	for _, s := range []march.Shape{static, small} {
		for i := range s.Bits {
			c := newChip(s.Words)
			c.out = func(w uint32) uint32 { return w | 1<<i }
			f := one(t, classify(t, c, "March C-", s), march.DataStuck, fmt.Sprintf("data bit %d reads 1 at every address: its line is stuck or open", i))
			assert.Equal(t, []int{i}, f.Lines)
			for j := range i {
				for wins, level := range []string{"low", "high"} {
					join := func(w uint32) uint32 {
						x := w >> i & (w >> j) & 1
						if wins == 1 {
							x = (w>>i | w>>j) & 1
						}
						return w&^(1<<i|1<<j) | x<<i | x<<j
					}
					for _, c := range []*chip{{in: join}, {out: join}, {in: join, out: join}} {
						c.cells = make([]uint32, s.Words)
						f := one(t, classify(t, c, "March C-", s), march.DataShort, fmt.Sprintf("data bits %d and %d are shorted: where they should differ, a %s wins", j, i, level))
						assert.Equal(t, []int{j, i}, f.Lines)
					}
				}
			}
		}
	}
}

func TestClassifyWholeChip(t *testing.T) {
	for _, s := range []march.Shape{static, narrow} {
		c := newChip(s.Words)
		c.out = func(uint32) uint32 { return 0xFFFFFFFF }
		words := map[int]string{1: "1", 4: "0xF"}[s.Bits]
		one(t, classify(t, c, "March C-", s), march.Dead, "whole chip: every read gives "+words+"; it is not selected, its outputs are dead, or it is not supplied")

		c = newChip(s.Words)
		c.stored = func(a int, before uint32) { c.cells[a] = before }
		one(t, classify(t, c, "March C-", s), march.Unwritten, "whole chip: every cell keeps what it had; it is not written: write line or write circuit")

		c = newChip(s.Words)
		line := bits.Len(uint(s.Words-1)) - 1
		c.answer = func(a int, w uint32) uint32 {
			if a>>line == 1 {
				return 0
			}
			return w
		}
		f := one(t, classify(t, c, "March C-", s), march.Half, fmt.Sprintf("half of the array fails, all addresses where A%d is 1: that half is dead, or the line is stuck", line))
		assert.Equal(t, []int{line}, f.Lines)
	}
}

func TestClassifyRetention(t *testing.T) {
	m, err := march.ByName("March C-")
	require.NoError(t, err)
	m = m.Retention()
	forget := func(s march.Shape, leaks func(int) bool) []march.Finding {
		c := newChip(s.Words)
		c.waits = func() {
			for a := range c.cells {
				if leaks(a) {
					c.cells[a] = 0
				}
			}
		}
		return classifyTest(c, m, s)
	}
	one(t, forget(narrow, func(a int) bool { return a == 0x3C }), march.Retention, "the cell at address 0x3C forgets during the wait: it reads 0")
	one(t, forget(narrow, func(a int) bool { return a&15 == 4 }), march.Row, "row 4 forgets during the wait")
	one(t, forget(multiply, func(a int) bool { return a*37%101 == 5 }), march.Retention,
		"41 cells scattered over the array, the first at address 0x034, forget during the wait: leakage, or refresh that does not reach them")
	one(t, forget(narrow, func(a int) bool { return true }), march.Retention, "every cell forgets during the wait: no refresh, or the supply does not hold")
}

// Dynamic cells that lose their charge after a number of accesses to others, as
// they do where refresh does not reach them.
func TestClassifyFadingCells(t *testing.T) {
	c := newChip(multiply.Words)
	clock := 0
	written := make([]int, multiply.Words)
	c.stored = func(a int, _ uint32) { clock++; written[a] = clock }
	c.reads = func(int) { clock++ }
	c.answer = func(a int, w uint32) uint32 {
		if a*37%101 == 5 && clock-written[a] > 3000 {
			return 0
		}
		return w
	}
	f := one(t, classify(t, c, "March C-", multiply), march.Retention,
		"41 cells scattered over the array, the first at address 0x034, do not hold their charge: leakage, or refresh that does not reach them")
	assert.Equal(t, 41, f.Cells)
}

// A log that was full in the first element with failures.
func TestClassifyFullLog(t *testing.T) {
	m, err := march.ByName("March C-")
	require.NoError(t, err)
	c := newChip(static.Words)
	c.out = func(uint32) uint32 { return 0xF }
	failures := c.test(m, static, march.Orders(6, 4)[0])[:100]
	shape := static
	shape.Words = failures[len(failures)-1].Address + 1
	one(t, march.Classify(shape, m, failures), march.Dead, "whole chip: every read gives 0xF; it is not selected, its outputs are dead, or it is not supplied")

	c = newChip(static.Words) // the first element alone
	c.address = func(a int) int { return a &^ (1 << 7) }
	failures = c.test(m, static, march.Orders(6, 4)[0])
	for i, f := range failures {
		if f.Element != failures[0].Element {
			failures = failures[:i]
			break
		}
	}
	one(t, march.Classify(static, m, failures), march.Half, "half of the array fails, all addresses where A7 is 1: that half is dead, or the line is stuck")
	assert.Empty(t, march.Classify(static, m, []march.Failure{{Address: 1024, Seen: 1}, {Address: -1, Seen: 1}}))
}

// Wherever a single stuck cell is, it is named, and nothing else is.
func TestClassifyNamesTheCell(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		at, bit := rapid.IntRange(0, static.Words-1).Draw(r, "address"), rapid.IntRange(0, static.Bits-1).Draw(r, "bit")
		level := rapid.IntRange(0, 1).Draw(r, "level")
		m := rapid.SampledFrom(march.All()).Draw(r, "test")
		c := newChip(static.Words)
		c.answer = func(a int, w uint32) uint32 {
			if a == at {
				return w&^(1<<bit) | uint32(level)<<bit
			}
			return w
		}
		findings := classifyTest(c, m, static)
		require.Len(r, findings, 1)
		require.Equal(r, fmt.Sprintf("the cell at address 0x%03X bit %d is stuck at %d", at, bit, level), findings[0].Words)
	})
}

// Whatever failures come, every cell that failed is explained once.
func TestClassifyExplainsEveryCell(t *testing.T) {
	m, err := march.ByName("March C-")
	require.NoError(t, err)
	rapid.Check(t, func(r *rapid.T) {
		s := march.Shape{Words: rapid.IntRange(1, 70).Draw(r, "words"), Bits: rapid.IntRange(1, 9).Draw(r, "bits"), Multiplexed: rapid.Bool().Draw(r, "multiplexed")}
		s.RowBits = rapid.IntRange(0, bits.Len(uint(s.Words-1))).Draw(r, "row bits")
		type cell struct{ address, bit int }
		failed := map[cell]bool{}
		failures := rapid.SliceOf(rapid.Custom(func(r *rapid.T) march.Failure {
			word := rapid.Uint32Range(0, 1<<s.Bits-1)
			return march.Failure{Address: rapid.IntRange(0, s.Words-1).Draw(r, "address"), Expected: word.Draw(r, "expected"), Seen: word.Draw(r, "seen"),
				Element: rapid.IntRange(0, 5).Draw(r, "element"), Background: word.Draw(r, "background"), AfterWait: rapid.Bool().Draw(r, "waited")}
		})).Draw(r, "failures")
		for _, f := range failures {
			for bit := range s.Bits {
				if (f.Expected^f.Seen)>>bit&1 == 1 {
					failed[cell{f.Address, bit}] = true
				}
			}
		}
		cells := 0
		for _, f := range march.Classify(s, m, failures) {
			cells += f.Cells
			require.NotEmpty(r, f.Words)
		}
		require.Equal(r, len(failed), cells)
	})
}
