package lot

import "math"

// doubt is the probability left open by what good chips prove: the limits are upper
// ones of 95 % confidence.
const doubt = 0.05

// ProvenLot is what n good chips without a bad one, drawn from a lot of size chips, prove: the largest
// number of bad ones it may hold, of which drawing none has a probability of 5 %
// or more. With every chip drawn it is 0.
func ProvenLot(size, n int) int { return provenLot(size, n, 0) }

// provenLot is the largest number of bad ones in a lot of size chips with which so
// few or fewer among n drawn have a probability of 5 % or more.
func provenLot(size, n, bad int) int {
	low, high := min(bad, size), max(size-n+bad, 0) // what was drawn is known
	for low < high {
		middle := (low + high + 1) / 2
		if hypergeometric(size, middle, n, bad) >= doubt-1e-12 { // 1e-12: for rounding
			low = middle
		} else {
			high = middle - 1
		}
	}
	return low
}

// ChipsToProve is how many chips must be good without a bad one to prove with
// 95 % confidence that no more than a fraction (over 0, under 1) are bad.
func ChipsToProve(fraction float64) int {
	return int(math.Ceil(math.Log(doubt)/math.Log1p(-fraction) - 1e-9)) // 1e-9: a whole number of chips is not one more
}
