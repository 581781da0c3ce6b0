package twolevel

import (
	"fmt"
	"slices"
)

// Minimise gives a minimal sum of products of a function. The empty sum is the
// constant low, and the sum of the empty product the constant high.
func Minimise(f Function) Cover {
	if f.Inputs < 0 || f.Inputs > MaxInputs {
		panic(fmt.Sprintf("twolevel: %d inputs", f.Inputs))
	}
	must, may := f.bounds()
	fallback, _ := irredundant(must, may, f.Inputs)
	var p primes
	all, ok := p.of(may, f.Inputs)
	if !ok || len(all) > maxPrimes {
		slices.SortFunc(fallback, Cube.compare)
		return Cover{Cubes: fallback}
	}
	slices.SortFunc(all, Cube.compare)
	cubes, minimal := cheapest(must, all, fallback)
	slices.SortFunc(cubes, Cube.compare)
	return Cover{Cubes: cubes, Minimal: minimal}
}

// cheapest gives the cheapest of the primes that together cover the rows, or the
// cheapest found within the bound on work.
func cheapest(must Rows, primes, fallback []Cube) (cubes []Cube, minimal bool) {
	lacking, covering, ok := incidence(must, primes)
	if !ok {
		return fallback, false
	}
	essential := make([]bool, len(primes))
	for _, columns := range covering {
		if len(columns) == 1 {
			essential[columns[0]] = true
		}
	}
	for i, c := range primes {
		if essential[i] {
			cubes = append(cubes, c)
		}
	}
	done := Cover{Cubes: cubes}
	t := table{best: 1 << 40}
	seen := map[string]bool{}
	column := map[int32]int{}
	for i, row := range lacking {
		if done.Covers(row) {
			continue
		}
		if key := fmt.Sprint(covering[i]); !seen[key] {
			seen[key] = true
			t.add(covering[i], primes, column)
		}
	}
	if t.rows == 0 {
		return cubes, true
	}
	t.search()
	if t.chosen == nil {
		return fallback, false
	}
	for _, c := range t.chosen {
		cubes = append(cubes, t.cubes[c])
	}
	if t.spent() && cost(fallback) < cost(cubes) {
		return fallback, false
	}
	return cubes, !t.spent()
}

// maxIncidence bounds the list of which prime covers which row.
const maxIncidence = 4_000_000

// incidence lists the rows with the indexes of the primes that cover each.
func incidence(must Rows, primes []Cube) (rows []int, covering [][]int32, ok bool) {
	size := 0
	for row := range len(must) * 64 {
		if !must.Has(row) {
			continue
		}
		var columns []int32
		for i, c := range primes {
			if c.Covers(row) {
				columns = append(columns, int32(i))
			}
		}
		if size += len(columns); size > maxIncidence {
			return nil, nil, false
		}
		rows, covering = append(rows, row), append(covering, columns)
	}
	return rows, covering, true
}

// cost weighs a product above all literals.
func cost(cubes []Cube) int { return len(cubes)<<20 + Cover{Cubes: cubes}.Literals() }
