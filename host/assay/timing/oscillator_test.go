package timing

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
)

// anOscillator is a part with the fake's pins: it runs with CLR high, faster with B high, and is as fast at its complement.
const anOscillator = `part 74199 "oscillator"
kind oscillator
families 74HC
source "from memory"
untested "the oscillation"
package DIP16
    A    1 | U | 16 VCC
    B    2 |   | 15 RC
   CLR   3 |   | 14 C
   /Q    4 |   | 13 Q
    N5   5 |   | 12 N12
    N6   6 |   | 11 N11
    N7   7 |   | 10 N10
  GND    8 |   | 9  N9
inputs A B CLR
inputs N5 N6 N7 N9 N10 N11 N12
external C RC
outputs Q /Q
Q  = A & CLR & B & N5 & N6 & N7 & N9 & N10 & N11 & N12 ? x : 0
/Q = A & CLR & B & N5 & N6 & N7 & N9 & N10 & N11 & N12 ? x : 1
timing
    capacitor C RC
    resistor C RC
    hold low A N5 N6 N7 N9 N10 N11 N12
    pulse Q /Q
    runs when CLR
    faster B
    period 1 RC duty 45 to 55 within 10 "made up"
`

func oscillatorOf(t *testing.T, f *fakeChip) *Section {
	t.Helper()
	parts, err := part.Parse("x.part", anOscillator)
	if err != nil {
		t.Fatal(err)
	}
	typ := part.Type{Variant: parts[0].Variants[0], Family: part.FamilyByName("74HC")}
	x := &typ.Variant.Timings[0]
	r := Begin(typ, x, Plan{Farads: 1e-9, Ohms: 100e3}, 1e-9, 0.02)
	if err := r.Test(t.Context(), f, typ, x); err != nil {
		t.Fatal(err)
	}
	return r
}

// R C is 100 µs, the limits are 10 % of the chip, 5 % of the resistor and 2 % of the capacitor: 83.7 to 117.7 µs.
func TestOscillators(t *testing.T) {
	for _, c := range []struct {
		name string
		chip fakeChip
		says []string
	}{
		{"good", fakeChip{period: 100e-6, highShare: 0.5}, nil},
		{"slower with B low, as it may be", fakeChip{period: 100e-6, highShare: 0.5, slow: 3}, nil},
		{"not slower with B low", fakeChip{period: 100e-6, highShare: 0.5, slow: 1.5}, []string{"with B low it should be slower"}},
		{"fast", fakeChip{period: 82e-6, highShare: 0.5}, []string{"Q: period 82 µs"}},
		{"fast enough", fakeChip{period: 85e-6, highShare: 0.5}, nil},
		{"slow", fakeChip{period: 119e-6, highShare: 0.5}, []string{"Q: period 119 µs"}},
		{"duty", fakeChip{period: 100e-6, highShare: 0.57}, []string{"high for 57 % of the period"}},
		{"duty at the limit", fakeChip{period: 100e-6, highShare: 0.555}, nil},
		{"low duty", fakeChip{period: 100e-6, highShare: 0.42}, []string{"high for 42 % of the period"}},
		{"complement at another frequency", fakeChip{period: 100e-6, highShare: 0.5, complementFactor: 1.1}, []string{"/Q: 9.09 kHz, and should run at 10 kHz"}},
		{"complement stuck", fakeChip{period: 100e-6, highShare: 0.5, stuck: pinNotQ}, []string{"/Q: no edge"}},
		{"not gated", fakeChip{period: 100e-6, highShare: 0.5, ungated: true}, []string{"at the fall of CLR with B=H it should stop"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := oscillatorOf(t, &c.chip)
			if len(r.Wrong) != len(c.says) || r.NoPulses || len(c.says) > 0 && !strings.Contains(r.Wrong[0], c.says[0]) {
				t.Fatalf("%q, want %q", r.Wrong, c.says)
			}
			if math.Abs(r.Pulse.Seconds-c.chip.period) > 1e-9 || math.Abs(r.Duty-c.chip.highShare) > 0.001 {
				t.Errorf("%v, %g", r.Pulse, r.Duty)
			}
		})
	}
	if r := oscillatorOf(t, &fakeChip{period: 100e-6, highShare: 0.5, stuck: pinQ}); !r.NoPulses || len(r.Wrong) > 0 {
		t.Errorf("%+v", r)
	}
}

// Two edges that fell into a gap make one period look twice as long; it does not count.
func TestPeriodWithLostEdges(t *testing.T) {
	var edges []adapter.Edge
	for i := range 24 {
		edges = append(edges, adapter.Edge{At: time.Duration(20*i+8*(i%2)) * time.Microsecond, High: i%2 == 0}) // 40 µs, high for 28
	}
	for _, lost := range []int{0, 7, 8, 15} {
		seen := edges
		if lost > 0 {
			seen = append(append([]adapter.Edge{}, edges[:lost]...), edges[lost+2:]...)
		}
		period, duty, whole := periodOf(seen)
		if !whole || math.Abs(period.Seconds-40e-6) > 1e-9 || math.Abs(duty-0.7) > 1e-6 {
			t.Errorf("without %d: %v, %g, %v", lost, period, duty, whole)
		}
	}
	if _, _, whole := periodOf(edges[:7]); whole {
		t.Error("seven edges are three periods at most, two of them the first")
	}
}

func TestCountOfEdges(t *testing.T) {
	if got := fmt.Sprint(count(0), ", ", count(1), ", ", count(2)); got != "no edge, one edge, 2 edges" {
		t.Error(got)
	}
}
