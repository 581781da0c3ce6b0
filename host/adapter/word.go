package adapter

import (
	"iter"
	"math/bits"
	"strconv"
	"strings"
)

// Positions is the number of positions of the socket.
const Positions = 28

// A Word is a socket word: one bit for each position of the socket in column
// order, L1-8 in the least significant byte, then L9-14, R1-8 and R9-14.
// Positions 1 to 14 are L1 to L14, positions 28 down to 15 are R1 to R14.
type Word uint32

// All is the word of every position.
const All Word = 0x3fff_3fff

// At gives the word with the bits of the positions set. A position must be from 1 to 28.
func At(positions ...int) Word {
	var w Word
	for _, p := range positions {
		w |= 1 << bit(p)
	}
	return w
}

// Has reports whether the bit of position p is set.
func (w Word) Has(p int) bool { return w>>bit(p)&1 != 0 }

// Positions goes through the positions whose bits are set, in column order.
func (w Word) Positions() iter.Seq[int] {
	return func(yield func(int) bool) {
		for rest := uint32(w & All); rest != 0; rest &= rest - 1 {
			if !yield(position(bits.TrailingZeros32(rest))) {
				return
			}
		}
	}
}

func (w Word) String() string {
	var words []string
	for p := range w.Positions() {
		words = append(words, strconv.Itoa(p))
	}
	return strings.Join(words, " ")
}

// bit numbers the bit of position p: 0-13 down the left, 16-29 up the right.
func bit(p int) int {
	if p <= Positions/2 {
		return p - 1
	}
	return 44 - p
}

func position(bit int) int {
	if bit < 16 {
		return bit + 1
	}
	return 44 - bit
}

// Column names the place of a position as the carrier is labelled: L1 to L14 down
// the left, R1 to R14 down the right.
func Column(position int) string {
	if position <= Positions/2 {
		return "L" + strconv.Itoa(position)
	}
	return "R" + strconv.Itoa(Positions+1-position)
}

// AtColumn gives the position of a column name; ok is false where there is none.
func AtColumn(column string) (position int, ok bool) {
	for p := 1; p <= Positions; p++ {
		if strings.EqualFold(column, Column(p)) {
			return p, true
		}
	}
	return 0, false
}

// PositionOf gives the socket position of pin p of an n-pin package: the chip
// sits at the lever end, pin 1 at position 1 and pin n at position 28.
func PositionOf(p, n int) int {
	if p <= n/2 {
		return p
	}
	return Positions - (n - p)
}
