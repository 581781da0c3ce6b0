package twolevel

import "slices"

// maxPrimes bounds the prime implicants that a minimum cover is looked for among,
// and maxSplits the work of finding them.
const (
	maxPrimes = 20_000
	maxSplits = 2_000_000
)

// primes finds the prime implicants of a set of rows by Shannon's expansion: those
// of both halves together, and those of either half that do not fit into the other.
type primes struct {
	splits, found int
}

// of gives the primes of a table of n inputs, ok where the bounds were kept.
func (p *primes) of(table Rows, n int) (cubes []Cube, ok bool) {
	p.splits++
	switch {
	case p.splits > maxSplits || p.found > maxPrimes:
		return nil, false
	case none(table):
		return nil, true
	case whole(table, n):
		p.found++
		return []Cube{{}}, true
	}
	low, high := halves(table, n)
	cubes, ok = p.of(both(low, high), n-1)
	if !ok {
		return nil, false
	}
	top := uint16(1) << (n - 1)
	for side, half := range []Rows{low, high} {
		other := high
		if side == 1 {
			other = low
		}
		own, ok := p.of(half, n-1)
		if !ok {
			return nil, false
		}
		for _, c := range own {
			if !within(c, other, n-1) {
				cubes = append(cubes, Cube{c.Care | top, c.Value | top*uint16(side)})
			} else {
				p.found--
			}
		}
	}
	return cubes, true
}

// within tells whether all rows of a cube are in a table of n inputs.
func within(c Cube, table Rows, n int) bool {
	for n > 6 {
		top := uint16(1) << (n - 1)
		low, high := halves(table, n)
		n--
		switch {
		case c.Care&top == 0:
			return within(c, low, n) && within(c, high, n)
		case c.Value&top == 0:
			table = low
		default:
			table = high
		}
	}
	rows := full(n)
	for i := range n {
		switch {
		case c.Care>>i&1 == 0:
		case c.Value>>i&1 == 0:
			rows &^= inputRows[i]
		default:
			rows &= inputRows[i]
		}
	}
	return rows&^table[0] == 0
}

// inputRows are the rows of a word in which each of the first six inputs is high.
var inputRows = [6]uint64{
	0xAAAAAAAAAAAAAAAA, 0xCCCCCCCCCCCCCCCC, 0xF0F0F0F0F0F0F0F0,
	0xFF00FF00FF00FF00, 0xFFFF0000FFFF0000, 0xFFFFFFFF00000000,
}

// halves gives the tables of n-1 inputs with the last input low and high.
func halves(table Rows, n int) (low, high Rows) {
	if n > 6 {
		return table[:len(table)/2], table[len(table)/2:]
	}
	return Rows{table[0] & full(n-1)}, Rows{table[0] >> (1 << (n - 1)) & full(n-1)}
}

func none(table Rows) bool { return !slices.ContainsFunc(table, func(w uint64) bool { return w != 0 }) }

func whole(table Rows, n int) bool {
	all := full(n)
	return !slices.ContainsFunc(table, func(w uint64) bool { return w != all })
}

func both(a, b Rows) Rows {
	rows := make(Rows, len(a))
	for i := range a {
		rows[i] = a[i] & b[i]
	}
	return rows
}

func without(a, b Rows) Rows {
	rows := make(Rows, len(a))
	for i := range a {
		rows[i] = a[i] &^ b[i]
	}
	return rows
}

func either(a, b Rows) Rows {
	rows := make(Rows, len(a))
	for i := range a {
		rows[i] = a[i] | b[i]
	}
	return rows
}
