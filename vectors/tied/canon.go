package tied

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"chipassay/vectors/twolevel"
)

// maxOrders bounds the orders of the inputs that are tried for the standard form of a
// function, and maxKeyed its inputs.
const (
	maxOrders = 2_520 // what an AND-OR-INVERT gate of four pairs takes
	maxKeyed  = 12
)

// key gives the same text for functions that are the same but for the order of their
// inputs: of all orders, the least function table. Inputs that may be exchanged are
// not tried in both orders. It is empty where there are too many.
func key(f twolevel.Function) string {
	if f.Inputs > maxKeyed {
		return ""
	}
	weights, classes := make([]int, f.Inputs), make([]int, f.Inputs)
	for i := range f.Inputs {
		weights[i] = weight(f, i)
		classes[i] = i
		for j := range i {
			if classes[j] == j && weights[i] == weights[j] && exchangeable(f, i, j) {
				classes[i] = j
				break
			}
		}
	}
	inputs := make([]int, f.Inputs)
	for i := range inputs {
		inputs[i] = i
	}
	slices.SortFunc(inputs, func(a, b int) int {
		return cmp.Or(cmp.Compare(weights[a], weights[b]), cmp.Compare(classes[a], classes[b]), cmp.Compare(a, b))
	})
	if orders(inputs, weights, classes)<<f.Inputs > maxOrders<<8 {
		return ""
	}
	best := ""
	var order func(done, left []int)
	order = func(done, left []int) {
		if len(left) == 0 {
			if t := tableIn(f, done); best == "" || t < best {
				best = t
			}
			return
		}
		for i, input := range left {
			if weights[input] != weights[left[0]] {
				break
			}
			// Of exchangeable inputs, the first that is left.
			if slices.ContainsFunc(left[:i], func(o int) bool { return classes[o] == classes[input] }) {
				continue
			}
			order(append(slices.Clone(done), input), slices.Delete(slices.Clone(left), i, i+1))
		}
	}
	order(nil, inputs)
	return fmt.Sprintf("%d:%s", f.Inputs, best)
}

// orders counts the orders that are to be tried of inputs that are sorted by weight.
func orders(inputs, weights, classes []int) int {
	n, alike := 1, map[int]int{}
	first := 0
	for i, input := range inputs {
		if weights[input] != weights[inputs[first]] {
			first = i
		}
		alike[classes[input]]++
		// One more in a group of k: k places for it, and as many orders less as are alike.
		if n = n * (i - first + 1) / alike[classes[input]]; n > 1<<30 {
			return n
		}
	}
	return n
}

// weight counts the rows that are high, and open, with an input high.
func weight(f twolevel.Function, input int) (n int) {
	for row := range 1 << f.Inputs {
		if row>>input&1 != 0 {
			switch f.Level(row) {
			case twolevel.High:
				n++
			case twolevel.Either:
				n += 1 << 16
			}
		}
	}
	return n
}

// exchangeable tells whether a function stays the same with two inputs exchanged.
func exchangeable(f twolevel.Function, a, b int) bool {
	for row := range 1 << f.Inputs {
		if row>>a&1 != 0 && row>>b&1 == 0 && f.Level(row) != f.Level(row^1<<a^1<<b) {
			return false
		}
	}
	return true
}

// tableIn writes a function table with the inputs in another order.
func tableIn(f twolevel.Function, order []int) string {
	var text strings.Builder
	for row := range 1 << f.Inputs {
		from := 0
		for i, input := range order {
			from |= row >> i & 1 << input
		}
		text.WriteByte("01-"[f.Level(from)])
	}
	return text.String()
}

// reordered gives the function of some inputs of another, in an order; those left out
// are low.
func reordered(f twolevel.Function, order []int) twolevel.Function {
	return twolevel.Of(len(order), func(row int) twolevel.Level {
		from := 0
		for i, input := range order {
			from |= row >> i & 1 << input
		}
		return f.Level(from)
	})
}

// reduced takes out the inputs that a function does not depend on. Kept are those
// that stay, in order.
func reduced(f twolevel.Function) (g twolevel.Function, kept []int) {
	for i := range f.Inputs {
		for row := range 1 << f.Inputs {
			if f.Level(row) != f.Level(row^1<<i) {
				kept = append(kept, i)
				break
			}
		}
	}
	return reordered(f, kept), kept
}
