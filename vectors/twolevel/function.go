// Package twolevel finds minimal sums of products: Quine-McCluskey's prime
// implicants (McCluskey 1956), and of these a minimum cover, by essential primes,
// dominance, and branch and bound (from memory of the textbooks). Past a bound on
// work an irredundant cover is given, which is not proven minimal.
//
// Minimal is the fewest products, and of those the fewest literals.
package twolevel

import "math/bits"

// MaxInputs bounds the inputs of a function.
const MaxInputs = 16

// Rows are a set of the rows of a function table. In row r, input i is at bit i of r.
type Rows []uint64

// NewRows makes an empty set for a function of some inputs.
func NewRows(inputs int) Rows { return make(Rows, max(1, 1<<inputs/64)) }

// Has tells whether a row is in the set.
func (s Rows) Has(row int) bool { return s[row/64]>>(row%64)&1 != 0 }

// Add puts a row into the set.
func (s Rows) Add(row int) { s[row/64] |= 1 << (row % 64) }

// A Function is a function table of one output.
type Function struct {
	Inputs   int  // at most MaxInputs
	On       Rows // where the output is high
	DontCare Rows // where it may be either, and On does not matter; nil for nowhere
}

// A Level is what a row of a function table asks of the output.
type Level uint8

// The levels.
const (
	Low Level = iota
	High
	Either
)

// Of makes a function from its level in each row.
func Of(inputs int, level func(row int) Level) Function {
	f := Function{Inputs: inputs, On: NewRows(inputs), DontCare: NewRows(inputs)}
	for row := range 1 << inputs {
		switch level(row) {
		case High:
			f.On.Add(row)
		case Either:
			f.DontCare.Add(row)
		}
	}
	return f
}

// Level gives what a row asks of the output.
func (f Function) Level(row int) Level {
	switch {
	case f.DontCare != nil && f.DontCare.Has(row):
		return Either
	case f.On.Has(row):
		return High
	}
	return Low
}

// Not gives the complement, with the same rows left open.
func (f Function) Not() Function {
	off := NewRows(f.Inputs)
	for i := range off {
		off[i] = ^f.On[i]
	}
	return Function{Inputs: f.Inputs, On: off, DontCare: f.DontCare}
}

// must gives the rows that a cover has to cover, and may those that it is free to,
// must among them.
func (f Function) bounds() (must, may Rows) {
	must, may = NewRows(f.Inputs), NewRows(f.Inputs)
	all := full(f.Inputs)
	for i := range must {
		open := uint64(0)
		if f.DontCare != nil {
			open = f.DontCare[i]
		}
		must[i], may[i] = f.On[i]&^open&all, (f.On[i]|open)&all
	}
	return must, may
}

// full is a word of a table with every row of the function in it.
func full(inputs int) uint64 {
	if inputs >= 6 {
		return ^uint64(0)
	}
	return 1<<(1<<inputs) - 1
}

// A Cube is a product: each input of Care is at its bit of Value.
type Cube struct {
	Care, Value uint16 // bit i stands for input i; Value within Care
}

// Covers tells whether the product is 1 in a row.
func (c Cube) Covers(row int) bool { return uint16(row)&c.Care == c.Value }

// Literals counts the inputs of the product.
func (c Cube) Literals() int { return bits.OnesCount16(c.Care) }

// compare orders products as a person would write them: by their first input, the
// plain before the inverted.
func (c Cube) compare(d Cube) int {
	rank := func(c Cube, i int) int {
		switch {
		case c.Care>>i&1 == 0:
			return 2
		case c.Value>>i&1 == 0:
			return 1
		}
		return 0
	}
	for i := range MaxInputs {
		if by := rank(c, i) - rank(d, i); by != 0 {
			return by
		}
	}
	return 0
}

// A Cover is a sum of products.
type Cover struct {
	Cubes   []Cube
	Minimal bool // proven: no other has fewer products, nor as many and fewer literals
}

// Covers tells whether the sum is 1 in a row.
func (c Cover) Covers(row int) bool {
	for _, cube := range c.Cubes {
		if cube.Covers(row) {
			return true
		}
	}
	return false
}

// Literals counts the literals of all products.
func (c Cover) Literals() (n int) {
	for _, cube := range c.Cubes {
		n += cube.Literals()
	}
	return n
}

// Support gives the inputs that stand in a product, as bits.
func (c Cover) Support() (inputs uint16) {
	for _, cube := range c.Cubes {
		inputs |= cube.Care
	}
	return inputs
}
