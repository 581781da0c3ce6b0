package virtual

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"chipassay/host/adapter"
	"chipassay/vectors/part"
)

// Kirchhoff's current law at every node of a group: the currents at the voltages
// that are found cancel, to what the last step of 10 nV leaves of the largest slope.
func TestSolveTogetherObeysKirchhoff(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		ends := make([]end, rapid.IntRange(2, 5).Draw(r, "nodes"))
		for i := range ends {
			e := &ends[i]
			e.siemens = rapid.SampledFrom([]float64{1e-4, 1e-3, 1 / 205.0, 10}).Draw(r, "S of the adapter")
			e.amps = e.siemens * rapid.Float64Range(0, 5).Draw(r, "V of the adapter")
			for range rapid.IntRange(0, 3).Draw(r, "elements") {
				x := element{volts: rapid.Float64Range(0, 5).Draw(r, "V"), siemens: rapid.Float64Range(1e-4, 1).Draw(r, "S"), limit: math.Inf(1)}
				x.source = rapid.Bool().Draw(r, "source")
				x.sink = !x.source || rapid.Bool().Draw(r, "sink")
				if rapid.Bool().Draw(r, "limited") {
					x.limit = rapid.Float64Range(1e-4, 0.1).Draw(r, "A")
				}
				e.elements = append(e.elements, x)
			}
		}
		var couplings []coupling
		for i := 1; i < len(ends); i++ {
			couplings = append(couplings, coupling{rapid.IntRange(0, i-1).Draw(r, "from"), i, 1 / rapid.SampledFrom([]float64{0.1, 10, 470, 1e5}).Draw(r, "Ω")})
		}
		m := newMesh(len(ends), len(couplings))
		copy(m.ends, ends)
		copy(m.couplings, couplings)
		m.solve()
		volts := m.volts
		for i := range ends {
			sum, largest := ends[i].amps-ends[i].siemens*volts[i], ends[i].siemens
			for _, x := range ends[i].elements {
				current, _ := x.at(volts[i])
				sum, largest = sum+current, largest+x.siemens
			}
			for _, c := range couplings {
				switch i {
				case c.from:
					sum -= (volts[i] - volts[c.to]) * c.siemens
				case c.to:
					sum -= (volts[i] - volts[c.from]) * c.siemens
				}
				largest += 2 * c.siemens
			}
			if math.Abs(sum) > 1e-7*largest {
				r.Errorf("node %d at %.6f V: %g A are left over", i, volts[i], sum)
			}
		}
	})
}

// A resistance between two pins, by Ohm's law worked beside each: the adapter
// drives through 145 Ω, a 74HC output has half of 0.33 V / 4 mA, 41 Ω, either way.
func TestResistiveShort(t *testing.T) {
	const drive, output, bias = 145, 0.33 / 0.004 / 2, 10_030.0
	divided := func(rail, low, between, high float64) (lower, upper float64) {
		amps := rail / (low + between + high)
		return amps * low, rail - amps*high
	}
	for _, c := range []struct {
		family, defect string
		low, high      adapter.Word
		at, other      int
		ohms           [3]float64 // from ground to 5 V
		why            string
	}{
		{"74HC", "3 shorted to 6 100 ohms", pins(4), pins(1, 2, 5), 3, 6, [3]float64{output, 100, output}, "a low output and a high one"},
		{"74HC", "6 shorted to 3 1000 ohms", pins(4), pins(1, 2, 5), 3, 6, [3]float64{output, 1000, output}, "the same, with the pins exchanged"},
		{"74HC", "1 shorted to 2 1000 ohms", pins(1), pins(2), 1, 2, [3]float64{drive, 1000, drive}, "two driven inputs"},
		{"74HC", "1 shorted to 6 470 ohms", pins(1, 4), pins(5), 1, 6, [3]float64{drive, 470, output}, "an output and the input of another gate"},
		{"74HC", "1 shorted to 14 330 ohms", pins(1), 0, 1, 14, [3]float64{drive, 330, 0.64}, "the supply behind fuse, shunt and switch"},
		{"74HC", "1 shorted to 7 330 ohms", 0, pins(1), 7, 1, [3]float64{0.3, 330, drive}, "the ground switch"},
		{"74HC", "1 shorted to 2 1 ohms", pins(1), pins(2), 1, 2, [3]float64{drive, 1, drive}, "next to nothing"},
	} {
		s := powered(quadNAND(t, c.family, part.TotemPole, c.defect))
		s.Drive(c.low|c.high, c.high)
		lower, upper := divided(s.RailVolts(), c.ohms[0], c.ohms[1], c.ohms[2])
		what := c.family + " " + c.defect + ": " + c.why
		// An output's square law gives way by a tenth of what it drops at 1 V, and by less below; and its supply is some mV lower.
		within := 0.002
		if c.ohms[0] == output || c.ohms[2] == output {
			within += 0.13 * min(lower, s.RailVolts()-upper)
		}
		if c.other == 14 {
			within += 0.009 // what the switch drops at no current
		}
		about(t, what+", the lower pin", s.of[at(c.at)].volts, lower, within)
		about(t, what+", the higher pin", s.of[at(c.other)].volts, upper, within)
	}
	// Two shorts in a row and the bias rail: the rail, 145 Ω, then 1 kΩ and 2 kΩ, each node
	// behind the first with 10,030 Ω to ground, as has the first.
	s := powered(quadNAND(t, "74HC", part.TotemPole, "1 shorted to 2 1000 ohms", "4 shorted to 2 2000 ohms"))
	pull(s, allLow, allOff)
	s.Drive(pins(1), pins(1))
	last := 2000 + bias
	middle := beside(bias, last)
	first := beside(bias, 1000+middle)
	one := s.RailVolts() * first / (first + drive)
	two := one * middle / (1000 + middle)
	about(t, "pin 1 of three", s.of[at(1)].volts, one, 0.002)
	about(t, "pin 2 of three", s.of[at(2)].volts, two, 0.002)
	about(t, "pin 4 of three", s.of[at(4)].volts, two*bias/last, 0.002)
}

// Without supply a resistance couples two pins as well. Supply pin high and ground
// low, no junction conducts: pin 1, driven, feeds pin 2 through 4.7 kΩ, both with
// 10,030 Ω to ground: of the 4.951 V that 0.9 mA leave, 5,967 of 6,112 Ω, 4.834 V, and of that
// 10,030 of 14,730, 3.291 V.
func TestResistiveShortWithoutSupply(t *testing.T) {
	s := NewSocket(quadNAND(t, "74HC", part.TotemPole, "1 shorted to 2 4700 ohms"), 1)
	pull(s, allLow, allOff)
	s.Drive(pins(1, 7, 14), pins(1, 14))
	about(t, "pin 1", s.of[at(1)].volts, 4.834, 0.002)
	about(t, "pin 2", s.of[at(2)].volts, 3.291, 0.002)
	if r := reads(s, at(2)); r != '1' {
		t.Errorf("pin 2 reads %c, want 1", r)
	}
	// With nothing else at pin 2 no current flows: it is where pin 1 is.
	pull(s, allOff, allOff)
	about(t, "pin 2 alone", s.of[at(2)].volts, 4.952, 0.002)
	if r := reads(s, at(2)); r != '1' {
		t.Errorf("pin 2 alone reads %c, want 1", r)
	}
}

// An output whose pin touches an input over a resistance switches that gate too: a
// 74HC's high at pin 6 over 100 Ω holds the input that nothing drives, and its low.
func TestResistiveShortCarriesLevels(t *testing.T) {
	s := powered(quadNAND(t, "74HC", part.TotemPole, "6 shorted to 1 100 ohms"))
	for _, four := range []bool{false, true, false} {
		level := pins(2, 5)
		want := byte('0') // pin 6 high, so pins 1 and 2 are
		if four {
			level, want = level|pins(4), '1'
		}
		s.Drive(pins(2, 4, 5), level)
		if r := reads(s, at(3)); r != want {
			t.Errorf("pin 4 %v: pin 3 reads %c, want %c", four, r, want)
		}
	}
}

// Coupled pins that nothing holds float together.
func TestCoupledPinsFloatTogether(t *testing.T) {
	s := powered(quadNAND(t, "74HC", part.TotemPole, "1 shorted to 2 100 ohms"))
	s.Drive(pins(4), 0)
	if a, b := s.of[at(1)].volts, s.of[at(2)].volts; a != b {
		t.Errorf("pin 1 floats at %v V, pin 2 at %v V", a, b)
	}
	if r := reads(s, at(1)); r != 'u' {
		t.Errorf("a floating pin reads %c", r)
	}
}
