package twolevel

// irredundant gives a cover of at least must and at most may, tables of n inputs,
// of which no product can be left out, and the rows that it covers.
//
// Source: the Minato-Morreale procedure (S. Minato 1992), from memory.
func irredundant(must, may Rows, n int) (cubes []Cube, covered Rows) {
	switch {
	case none(must):
		return nil, make(Rows, len(must))
	case whole(may, n):
		covered = make(Rows, len(must))
		for i := range covered {
			covered[i] = full(n)
		}
		return []Cube{{}}, covered
	}
	must0, must1 := halves(must, n)
	may0, may1 := halves(may, n)
	top := uint16(1) << (n - 1)
	// What only one half may cover needs the input in its products.
	cubes0, covered0 := irredundant(without(must0, may1), may0, n-1)
	cubes1, covered1 := irredundant(without(must1, may0), may1, n-1)
	rest := either(without(must0, covered0), without(must1, covered1))
	common, coveredBoth := irredundant(rest, both(may0, may1), n-1)
	for _, c := range cubes0 {
		cubes = append(cubes, Cube{c.Care | top, c.Value})
	}
	for _, c := range cubes1 {
		cubes = append(cubes, Cube{c.Care | top, c.Value | top})
	}
	low, high := either(covered0, coveredBoth), either(covered1, coveredBoth)
	if n > 6 {
		covered = append(append(covered, low...), high...)
	} else {
		covered = Rows{low[0] | high[0]<<(1<<(n-1))}
	}
	return append(cubes, common...), covered
}
