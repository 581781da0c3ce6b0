package fault_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/fault"
	"chipassay/vectors/library"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

// observe runs a chip written in plain Go through the steps: the level that pin n
// drives as a function of the inputs' levels.
func observe(s *stimulus.Sequence, level func(high part.Pins, pin int) logic.Value) []fault.Observation {
	var seen []fault.Observation
	for _, st := range s.Steps {
		var o fault.Observation
		for pin := range st.Compared.All() {
			v := level(st.Drive, pin)
			o.PulledUp = o.PulledUp.With(pin, v == logic.One || v == logic.Z)
			o.PulledDown = o.PulledDown.With(pin, v == logic.One)
		}
		seen = append(seen, o)
	}
	return seen
}

// nand3 is a 7410 by its data sheet: gates 1A 1B 1C 1Y = 1 2 13 12, 3 4 5 6, 9 10 11 8 (from memory).
func nand3(high part.Pins, pin int) logic.Value {
	gate := map[int][3]int{12: {1, 2, 13}, 6: {3, 4, 5}, 8: {9, 10, 11}}[pin]
	return logic.FromBool(!(high.Has(gate[0]) && high.Has(gate[1]) && high.Has(gate[2])))
}

func TestDiagnosisNamesTheCause(t *testing.T) {
	typ, err := library.Open("7410")
	require.NoError(t, err)
	c, err := logic.Compile(typ.Variant)
	require.NoError(t, err)
	s, err := stimulus.Exhaustive(typ.Variant)
	require.NoError(t, err)
	for _, test := range []struct {
		name  string
		level func(high part.Pins, pin int) logic.Value
		want  fault.Fault
	}{
		{"output stuck low", func(high part.Pins, pin int) logic.Value {
			if pin == 12 {
				return logic.Zero
			}
			return nand3(high, pin)
		}, fault.Fault{Kind: fault.StuckLow, Pin: 12}},
		{"TTL input open acts as a high (common practice)", func(high part.Pins, pin int) logic.Value {
			return nand3(high.With(4, true), pin)
		}, fault.Fault{Kind: fault.Open, Pin: 4}},
		{"output open follows the pull", func(high part.Pins, pin int) logic.Value {
			if pin == 8 {
				return logic.Z
			}
			return nand3(high, pin)
		}, fault.Fault{Kind: fault.Open, Pin: 8}},
		{"upper transistor dead: a high is released", func(high part.Pins, pin int) logic.Value {
			if v := nand3(high, pin); pin != 6 || v == logic.Zero {
				return v
			}
			return logic.Z
		}, fault.Fault{Kind: fault.NoPullUp, Pin: 6}},
		{"two TTL outputs joined are a wired AND (TTL handbooks)", func(high part.Pins, pin int) logic.Value {
			if pin == 6 {
				return nand3(high, pin)
			}
			return logic.FromBool(nand3(high, 8) == logic.One && nand3(high, 12) == logic.One)
		}, fault.Fault{Kind: fault.Short, Pin: 8, Other: 12}},
	} {
		causes := fault.Diagnose(c, typ.Family, s, observe(s, test.level), fault.Held{})
		require.NotEmpty(t, causes, test.name)
		best := []fault.Fault{}
		for _, cause := range causes {
			if cause.Unknown == causes[0].Unknown {
				best = append(best, cause.Faults[0])
			}
		}
		require.Contains(t, best, test.want, test.name)
	}
}

// The pulses of a monostable are open: of the four levels of clear, each section is at rest in two, and in
// the two others its Q and /Q are not known, which makes eight (function table of a 74123, from memory).
// A gate leaves none open.
func TestWhatAGoodChipLeavesOpen(t *testing.T) {
	for number, want := range map[string]int{"74123": 8, "7410": 0} {
		typ, err := library.Open(number)
		require.NoError(t, err)
		c, err := logic.Compile(typ.Variant)
		require.NoError(t, err)
		s, err := stimulus.Exhaustive(typ.Variant)
		require.NoError(t, err)
		for i := range s.Steps {
			for _, p := range typ.Variant.Pins {
				s.Steps[i].Compared = s.Steps[i].Compared.With(p.Number, p.Role == part.Output)
			}
		}
		require.Equal(t, want, fault.LeftOpen(c, typ.Family, s), number)
	}
}
