package march

import (
	"fmt"
	"math/bits"
)

// Backgrounds gives the data backgrounds for words of the given width, 1 to 32
// bits: with w bits, log2(w)+1 of them, rounded up. A march test is run once with
// each, where w0 and r0 use the background and w1 and r1 its complement.
//
// A test with the solid background alone writes all bits of a word alike, so a
// bit that is coupled to another bit of its own word, or whose data line is
// joined to another's, is hidden: both always want the same value. With these
// every two bits of a word differ in at least one background (van de Goor 1991).
// For 4 bits they are 0000, 0101, 0011.
func Backgrounds(width int) []uint32 {
	if width < 1 || width > 32 {
		panic(fmt.Sprintf("march: words of %d bits", width))
	}
	backgrounds := []uint32{0}
	for line := range bits.Len(uint(width - 1)) {
		var b uint32
		for bit := range width {
			if bit>>line&1 == 0 {
				b |= 1 << bit
			}
		}
		backgrounds = append(backgrounds, b)
	}
	return backgrounds
}

// Word gives what an operation's value, 0 or 1, means in words of the given
// width with a background.
func Word(background uint32, value uint8, width int) uint32 {
	if value == 1 {
		background = ^background
	}
	return background & uint32(1<<width-1)
}

// An AddressOrder is what is called ascending in one run of a test: the lines
// of the address, the one that changes with every step first.
type AddressOrder struct {
	Name  string
	Lines []int // line of the address that follows bit 0, 1, … of the count
}

// Address gives the address at which a count from 0 stands.
func (o AddressOrder) Address(count int) int {
	address := 0
	for bit, line := range o.Lines {
		address |= count >> bit & 1 << line
	}
	return address
}

// Orders gives the address orders to run so that the lines of both decoders
// work: fast-row, where the row changes with every step, and fast-column, where
// the column does. In each a test finds the static faults; but a slow decoder or
// a sense line that is slow to recover shows only when its own lines are those
// that change (common practice). The row is the low bits of the address. A memory
// without columns, or without rows, has one order.
func Orders(rowBits, columnBits int) []AddressOrder {
	var rows, columns []int
	for line := range rowBits + columnBits {
		if line < rowBits {
			rows = append(rows, line)
		} else {
			columns = append(columns, line)
		}
	}
	fastRow := AddressOrder{"fast-row", append(append([]int{}, rows...), columns...)}
	if rowBits == 0 || columnBits == 0 {
		fastRow.Name = "linear"
		return []AddressOrder{fastRow}
	}
	return []AddressOrder{fastRow, {"fast-column", append(append([]int{}, columns...), rows...)}}
}
