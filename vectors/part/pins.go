package part

import (
	"iter"
	"math/bits"
	"strconv"
	"strings"
)

// Pins is a set of the pins of one chip: bit n-1 stands for pin n, n from 1 to 28.
type Pins uint32

// PinSet makes a set of pin numbers.
func PinSet(numbers ...int) Pins {
	var s Pins
	for _, n := range numbers {
		s |= 1 << (n - 1)
	}
	return s
}

// Has reports whether pin n is in the set.
func (s Pins) Has(n int) bool { return s>>(n-1)&1 != 0 }

// With gives the set with pin n added if in is true, and taken out if not.
func (s Pins) With(n int, in bool) Pins {
	if in {
		return s | 1<<(n-1)
	}
	return s &^ (1 << (n - 1))
}

// Len counts the pins of the set.
func (s Pins) Len() int { return bits.OnesCount32(uint32(s)) }

// All goes through the pin numbers in ascending order.
func (s Pins) All() iter.Seq[int] {
	return func(yield func(int) bool) {
		for rest := uint32(s); rest != 0; rest &= rest - 1 {
			if !yield(bits.TrailingZeros32(rest) + 1) {
				return
			}
		}
	}
}

func (s Pins) String() string {
	var words []string
	for n := range s.All() {
		words = append(words, strconv.Itoa(n))
	}
	return strings.Join(words, " ")
}
