// Package logic evaluates a part's function in the four values of IEEE 1364
// (0 1 x z), 64 lanes at a time. A lane is a vector, or a copy of the chip with
// its own fault.
package logic

// A Value is a logic value of IEEE 1364.
type Value uint8

// The four values. As bits they say whether the level may be high (1) and may be low (2).
const (
	Z    Value = 0 // released
	One  Value = 1
	Zero Value = 2
	X    Value = 3 // unknown
)

func (v Value) String() string { return "z10x"[v : v+1] }

// Not inverts a value; what is released or unknown stays unknown.
func (v Value) Not() Value {
	switch v {
	case One:
		return Zero
	case Zero:
		return One
	}
	return X
}

// FromBool gives One for true and Zero for false.
func FromBool(high bool) Value {
	if high {
		return One
	}
	return Zero
}

// FromPulls gives the level of a pin by whether it reads high while it is pulled up and
// while it is pulled down: Z where it follows the pull, and X where it goes against it.
func FromPulls(up, down bool) Value {
	switch {
	case up && down:
		return One
	case !up && !down:
		return Zero
	case up:
		return Z
	}
	return X
}

// A Word holds one value in each of 64 lanes. In lane i, bit i of Hi says that
// the level may be high, bit i of Lo that it may be low: both is x, neither is z.
type Word struct{ Hi, Lo uint64 }

// Splat gives a word with the same value in every lane.
func Splat(v Value) Word {
	return Word{-uint64(v & 1), -uint64(v >> 1)}
}

// Lane gives the value in lane i.
func (w Word) Lane(i int) Value {
	return Value(w.Hi>>i&1 | w.Lo>>i&1<<1)
}

// With gives the word with the value v in lane i.
func (w Word) With(i int, v Value) Word {
	bit := uint64(1) << i
	w.Hi = w.Hi&^bit | uint64(v&1)<<i
	w.Lo = w.Lo&^bit | uint64(v>>1)<<i
	return w
}
