package twolevel

import (
	"cmp"
	"math/bits"
	"slices"
)

// A table is a covering problem: each row is to be covered by one column at least,
// and the columns chosen are to cost least.
type table struct {
	rows   int
	cubes  []Cube   // of each column
	covers []bitset // rows of each column
	chosen []int    // columns of the cheapest cover so far; nil for none
	best   int      // its cost
	work   int
}

// maxWork bounds the search, in words of bits looked at: some tenths of a second.
const maxWork = 50_000_000

func (t *table) spent() bool { return t.work > maxWork }

type bitset []uint64

func (s bitset) has(i int) bool { return s[i/64]>>(i%64)&1 != 0 }
func (s bitset) put(i int)      { s[i/64] |= 1 << (i % 64) }

func (s bitset) empty() bool {
	return !slices.ContainsFunc(s, func(w uint64) bool { return w != 0 })
}

func (s bitset) count() (n int) {
	for _, w := range s {
		n += bits.OnesCount64(w)
	}
	return n
}

// inside tells whether all of s is in o.
func (s bitset) inside(o bitset) bool {
	for i, w := range s {
		if w&^o[i] != 0 {
			return false
		}
	}
	return true
}

func (s bitset) and(o bitset) bitset {
	r := make(bitset, len(s))
	for i := range s {
		r[i] = s[i] & o[i]
	}
	return r
}

func (s bitset) minus(o bitset) bitset {
	r := make(bitset, len(s))
	for i := range s {
		r[i] = s[i] &^ o[i]
	}
	return r
}

// add appends a row that some primes cover; column gives the columns that stand
// for primes so far.
func (t *table) add(covering []int32, primes []Cube, column map[int32]int) {
	for _, p := range covering {
		c, ok := column[p]
		if !ok {
			c = len(t.cubes)
			column[p] = c
			t.cubes = append(t.cubes, primes[p])
			t.covers = append(t.covers, nil)
		}
		for len(t.covers[c])*64 <= t.rows {
			t.covers[c] = append(t.covers[c], 0)
		}
		t.covers[c].put(t.rows)
	}
	t.rows++
}

// search finds the cheapest cover by branch and bound.
func (t *table) search() {
	words := (t.rows + 63) / 64
	left := make(bitset, words)
	for r := range t.rows {
		left.put(r)
	}
	columns := make([]int, len(t.cubes))
	for c := range t.cubes {
		columns[c] = c
		t.covers[c] = append(t.covers[c], make(bitset, words-len(t.covers[c]))...)
	}
	t.greedy(left, columns)
	t.branch(left, columns, nil)
}

func (t *table) price(columns []int) (sum int) {
	for _, c := range columns {
		sum += t.cost(c)
	}
	return sum
}

func (t *table) cost(c int) int { return cost(t.cubes[c : c+1]) }

// greedy takes the column that covers most of what is left, again and again, and
// then leaves out what the others cover.
func (t *table) greedy(left bitset, columns []int) {
	var chosen []int
	for rest := left; !rest.empty(); {
		take := slices.MaxFunc(columns, func(a, b int) int {
			return cmp.Or(cmp.Compare(t.covers[a].and(rest).count(), t.covers[b].and(rest).count()), cmp.Compare(t.cost(b), t.cost(a)))
		})
		t.work += len(columns) * len(rest)
		chosen = append(chosen, take)
		rest = rest.minus(t.covers[take])
	}
	for i := len(chosen) - 1; i >= 0; i-- {
		rest := left
		for j, c := range chosen {
			if j != i {
				rest = rest.minus(t.covers[c])
			}
		}
		if rest.empty() {
			chosen = slices.Delete(chosen, i, i+1)
		}
	}
	t.keep(chosen)
}

func (t *table) keep(chosen []int) {
	if p := t.price(chosen); p < t.best {
		t.best, t.chosen = p, slices.Clone(chosen)
	}
}

// branch covers the rows that are left with some of the columns, beside those chosen.
func (t *table) branch(left bitset, columns, chosen []int) {
	left, columns, chosen, ok := t.reduce(left, columns, slices.Clone(chosen))
	switch {
	case !ok || t.spent():
		return
	case left.empty():
		t.keep(chosen)
		return
	}
	bound, hardest := t.bound(left, columns)
	if t.price(chosen)+bound >= t.best {
		return
	}
	slices.SortStableFunc(hardest, func(a, b int) int {
		return cmp.Compare(t.covers[b].and(left).count(), t.covers[a].and(left).count())
	})
	for _, c := range hardest {
		t.branch(left.minus(t.covers[c]), columns, append(slices.Clone(chosen), c))
		// What follows does without it.
		columns = slices.DeleteFunc(slices.Clone(columns), func(other int) bool { return other == c })
	}
}

// bound gives what any cover of the rows costs at least, by rows that have no
// column in common, and the columns of the row that has fewest.
func (t *table) bound(left bitset, columns []int) (least int, hardest []int) {
	of := t.columnsOf(left, columns)
	slices.SortStableFunc(of, func(a, b rowColumns) int { return cmp.Compare(len(a.columns), len(b.columns)) })
	used := map[int]bool{}
	for _, r := range of {
		if slices.ContainsFunc(r.columns, func(c int) bool { return used[c] }) {
			continue
		}
		cheapest := t.best
		for _, c := range r.columns {
			used[c] = true
			cheapest = min(cheapest, t.cost(c))
		}
		least += cheapest
	}
	return least, of[0].columns
}

type rowColumns struct {
	row     int
	columns []int // ascending by place in the list of columns
	set     bitset
}

// columnsOf lists the rows that are left with their columns.
func (t *table) columnsOf(left bitset, columns []int) (of []rowColumns) {
	for r := range t.rows {
		if !left.has(r) {
			continue
		}
		row := rowColumns{row: r, set: make(bitset, (len(columns)+63)/64)}
		for i, c := range columns {
			if t.covers[c].has(r) {
				row.columns = append(row.columns, c)
				row.set.put(i)
			}
		}
		of = append(of, row)
	}
	t.work += len(of) * len(columns)
	return of
}
