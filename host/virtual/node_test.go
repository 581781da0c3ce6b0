package virtual

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// Kirchhoff's current law: at the voltage that solve finds, the currents cancel;
// and halving an interval, slow but plain, finds the same voltage.
func TestSolveObeysKirchhoff(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		volts := func(name string) float64 { return rapid.Float64Range(0, 5).Draw(r, name) }
		siemens := rapid.SampledFrom([]float64{0, 1e-4, 1e-3, 1 / 205.0, 10}).Draw(r, "siemens")
		amps := siemens * volts("linear")
		var elements []element
		for range rapid.IntRange(1, 5).Draw(r, "elements") {
			e := element{volts: volts("open circuit"), siemens: rapid.Float64Range(1e-4, 1).Draw(r, "S"), limit: math.Inf(1)}
			e.source = rapid.Bool().Draw(r, "source")
			e.sink = !e.source || rapid.Bool().Draw(r, "sink")
			if rapid.Bool().Draw(r, "limited") {
				e.limit = rapid.Float64Range(1e-4, 0.1).Draw(r, "A")
			}
			elements = append(elements, e)
		}
		sum := func(v float64) float64 {
			total := amps - siemens*v
			for i := range elements {
				current, _ := elements[i].at(v)
				total += current
			}
			return total
		}
		low, high := -1.0, 6.0
		for range 60 {
			if middle := (low + high) / 2; sum(middle) > 0 {
				low = middle
			} else {
				high = middle
			}
		}
		// Between a source that has given way and a sink that has, a node floats, and leaks alone place it.
		if got := solve(amps, siemens, elements); math.Abs(got-low) > 1e-4 && math.Abs(sum(got)) > 10*leak*5 {
			r.Fatalf("%.6f V, by halving %.6f V, current left over %.3g A", got, low, sum(got))
		}
	})
}

// Two resistors to 5 V and to ground divide as in any textbook; one-way and
// limited elements do what their names say.
func TestElements(t *testing.T) {
	pullUp := resistor(5, 10_000)
	for _, c := range []struct {
		what     string
		elements []element
		volts    float64
	}{
		{"10 kΩ up, 1 kΩ down", []element{pullUp, resistor(0, 1_000)}, 5.0 / 11},
		{"a source below its open-circuit voltage", []element{resistor(0, 130), {volts: 3.5, siemens: 1 / 130.0, source: true, limit: 1}}, 1.75},
		{"a source above it gives way", []element{pullUp, {volts: 3.5, siemens: 1 / 130.0, source: true, limit: 1}}, 5},
		{"a sink below its voltage takes nothing", []element{resistor(0, 1_000), {volts: 0.2, siemens: 1, sink: true, limit: 1}}, 0},
		{"a sink at its limit lets the node rise", []element{resistor(5, 100), {volts: 0, siemens: 1, sink: true, limit: 0.01}}, 4},
	} {
		about(t, c.what, solve(0, 0, c.elements), c.volts, 0.001)
	}
}
