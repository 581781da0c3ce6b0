// Package signature folds readbacks into a signature, as the adapter's firmware
// does: a multiple-input signature register (MISR) over a primitive polynomial,
// protocol/SPEC.md, SWEEP. MIL-STD-883 method 5012 has no aliasing penalty for
// registers of degree 24 and more.
package signature

// Polynomial is x^32 + x^16 + x^9 + x^2 + 1 without its highest term. It is primitive,
// so that the register passes through all 2^32 - 1 states but zero.
const Polynomial = 1<<16 | 1<<9 | 1<<2 | 1

// Shift is by how many places the register moves for a readback. With one, an
// error at a pin cancels with an error at the pin beside it in the next step, which
// is just what a fault near two outputs gives.
const Shift = 8

// Seed is what the register holds at the start of a block. It is not 0, or zeros at
// the start would not count.
const Seed = 0xFFFF_FFFF

// Degree of the register.
const Degree = 32

// A Register is one of some degree, 1 to 32, in the low bits of its state.
type Register struct {
	Degree     int
	Polynomial uint32 // without its highest term
	Shift      int    // places a readback
	State      uint32
}

// New gives the adapter's register at the start of a block.
func New() *Register { return &Register{Degree, Polynomial, Shift, Seed} }

// Fold multiplies the state by x as often as the register shifts, modulo the
// polynomial, and adds a readback.
func (r *Register) Fold(readback uint32) {
	for range r.Shift {
		top := r.State >> (r.Degree - 1) & 1
		r.State = (r.State<<1 ^ top*r.Polynomial) & (1<<r.Degree - 1)
	}
	r.State ^= readback & (1<<r.Degree - 1)
}

// Blocks gives the signature of each block of some readbacks; the last may be shorter.
func Blocks(readbacks []uint32, block int) (signatures []uint32) {
	for len(readbacks) > 0 {
		n := min(block, len(readbacks))
		r := New()
		for _, w := range readbacks[:n] {
			r.Fold(w)
		}
		signatures = append(signatures, r.State)
		readbacks = readbacks[n:]
	}
	return signatures
}

// Penalty is what MIL-STD-883 method 5012 subtracts from the fault coverage for
// the chance that errors cancel in a register of a degree, as a share. From memory.
func Penalty(degree int) float64 {
	switch {
	case degree < 8:
		return 1
	case degree < 16:
		return 0.05
	case degree < 24:
		return 0.01
	}
	return 0
}
