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

// A chip of another definition, which differs by one line from the part's, is
// observed, and the line is named. The definitions are written out, so that what is
// observed is not made by what is looked for.
func TestOneChangedLineIsNamed(t *testing.T) {
	for _, c := range []struct{ typ, names, changed, says string }{
		{"74174", "Q", "    when !/CLR  : Q & 6'2\n    on rise CLK : D\n", "pin 12 (5Q) holds its level where it should follow rule 1 of Q (/CLR)"},
		{"74174", "Q", "    when !/CLR  : 4\n    on rise CLK : D\n", "pin 10 (4Q) takes the complement of what rule 1 of Q (/CLR) gives"},
		{"74174", "Q", "    when !/CLR  : 0\n    on rise CLK : {D[5:1], !D[0]}\n", "pin 15 (6Q) takes the complement of what rule 2 of Q (CLK) gives"},
	} {
		typ, err := library.Open(c.typ)
		require.NoError(t, err)
		circuit, err := logic.Compile(typ.Variant)
		require.NoError(t, err)
		s, err := stimulus.For(circuit)
		require.NoError(t, err)
		parts, err := part.Parse("changed.part", hexFlipFlop+c.changed)
		require.NoError(t, err)
		changed, err := logic.Compile(parts[0].Variants[0])
		require.NoError(t, err)
		found := fault.DiagnoseInside(circuit, typ.Family, s, observeMachine(changed.NewMachine(), s))
		require.NotEmpty(t, found, c.changed)
		require.Equal(t, c.says, found[0].In(circuit))
	}
	// and a good chip gives no diagnosis
	typ, err := library.Open("74174")
	require.NoError(t, err)
	circuit, err := logic.Compile(typ.Variant)
	require.NoError(t, err)
	s, err := stimulus.For(circuit)
	require.NoError(t, err)
	m := circuit.NewMachine()
	require.Empty(t, fault.DiagnoseInside(circuit, typ.Family, s, observeMachine(m, s)))
}

// observeMachine is what a chip shows that comes up at random.
func observeMachine(m *logic.Machine, s *stimulus.Sequence) (seen []fault.Observation) {
	m.PowerUp(7)
	for _, st := range s.Steps {
		for pin := range st.Driven.All() {
			m.Set(pin, logic.Splat(logic.FromBool(st.Drive.Has(pin))))
		}
		m.Settle()
		var o fault.Observation
		for pin := range st.Compared.All() {
			v := m.Out(pin).Lane(0)
			o.PulledUp = o.PulledUp.With(pin, v != logic.Zero)
			o.PulledDown = o.PulledDown.With(pin, v == logic.One)
		}
		seen = append(seen, o)
	}
	return seen
}

const hexFlipFlop = `part 74174 "hex D flip-flop with common clear"
kind register
families 74
source "from memory"
package DIP16
   /CLR  1 | U | 16 VCC
     1Q  2 |   | 15 6Q
     1D  3 |   | 14 6D
     2D  4 |   | 13 5D
     2Q  5 |   | 12 5Q
     3D  6 |   | 11 4D
     3Q  7 |   | 10 4Q
    GND  8 |   | 9  CLK
inputs  /CLR CLK 1D..6D
outputs 1Q..6Q
bus D = 1D..6D
bus Q = 1Q..6Q
register Q
`
