package stimulus_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

const flipflop = `
part 7474 "dual D flip-flop"
kind flip-flop
families 74 74LS
source "from memory"
package DIP14
   /1CLR  1 | U | 14 VCC
      1D  2 |   | 13 /2CLR
    1CLK  3 |   | 12 2D
   /1PRE  4 |   | 11 2CLK
      1Q  5 |   | 10 /2PRE
     /1Q  6 |   | 9  2Q
     GND  7 |   | 8  /2Q
inputs /1CLR /2CLR 1D 2D 1CLK 2CLK /1PRE /2PRE
outputs 1Q 2Q /1Q /2Q
unstable /1PRE /1CLR
gate 1..2
    table
        /#PRE /#CLR #CLK #D | #Q  /#Q
         L     H    X    X  | H   L
         H     L    X    X  | L   H
         L     L    X    X  | H   H
         H     H    ^    H  | H   L
         H     H    ^    L  | L   H
         H     H    L    X  | Q0  /Q0
`

const counter = `
part 74161 "synchronous 4-bit counter, asynchronous clear"
kind counter
families 74
source "from memory"
package DIP16
   /CLR 1 | U | 16 VCC
    CLK 2 | | 15 RCO
    A 3 | | 14 QA
    B 4 | | 13 QB
    C 5 | | 12 QC
    D 6 | | 11 QD
    ENP 7 | | 10 ENT
    GND 8 | | 9 /LOAD
inputs /CLR CLK A B C D ENP ENT /LOAD
outputs RCO QA QB QC QD
bus Q = QD QC QB QA
bus IN = D C B A
register Q
    when !/CLR : 0
    on rise CLK when !/LOAD : IN
    on rise CLK when ENP & ENT : Q + 1
RCO = ENT & all(Q)
`

func sequence(t *testing.T, text string) *stimulus.Sequence {
	t.Helper()
	parts, err := part.Parse("test.part", text)
	require.NoError(t, err)
	c, err := logic.Compile(parts[0].Variants[0])
	require.NoError(t, err)
	s, err := stimulus.For(c)
	require.NoError(t, err)
	return s
}

// In a tour of a flip-flop no two pins ever change together, and a D flip-flop
// written in plain Go from its function table (data books, from memory) agrees with every step.
func TestTourOfAFlipFlopIsLegalAndTrue(t *testing.T) {
	s := sequence(t, flipflop)
	q := [2]int{-1, -1} // Q of each half, -1 while unknown
	bar := [2]int{-1, -1}
	previous := s.Steps[0]
	compared := 0
	for i, st := range s.Steps {
		changed := st.Drive ^ previous.Drive
		require.LessOrEqual(t, changed.Len(), 1, "step %d", i+1)
		for half, pins := range [][6]int{{1, 2, 3, 4, 5, 6}, {13, 12, 11, 10, 9, 8}} {
			clr, d, clk, pre := st.Drive.Has(pins[0]), st.Drive.Has(pins[1]), st.Drive.Has(pins[2]), st.Drive.Has(pins[3])
			switch {
			case !pre && !clr:
				q[half], bar[half] = 1, 1
			case !pre:
				q[half], bar[half] = 1, 0
			case !clr:
				q[half], bar[half] = 0, 1
			case clk && !previous.Drive.Has(pins[2]) && i > 0:
				q[half] = map[bool]int{true: 1}[d]
				bar[half] = 1 - q[half]
			}
			for j, want := range []int{q[half], bar[half]} {
				if st.Compared.Has(pins[4+j]) {
					compared++
					require.Equal(t, want == 1, st.High.Has(pins[4+j]), "step %d pin %d", i+1, pins[4+j])
				}
			}
		}
		previous = st
	}
	require.Greater(t, compared, 3*len(s.Steps))
}

// A 4-bit synchronous counter in plain integer arithmetic (data books, from memory) agrees with every step.
func TestWalkOfACounterIsTrue(t *testing.T) {
	s := sequence(t, counter)
	n := -1
	previous := s.Steps[0]
	carries := 0
	for i, st := range s.Steps {
		in := 0
		for bit, pin := range []int{3, 4, 5, 6} {
			if st.Drive.Has(pin) {
				in |= 1 << bit
			}
		}
		switch {
		case !st.Drive.Has(1):
			n = 0
		case i == 0 || !st.Drive.Has(2) || previous.Drive.Has(2):
		case !st.Drive.Has(9):
			n = in
		case st.Drive.Has(7) && st.Drive.Has(10) && n >= 0:
			n = (n + 1) % 16
		}
		for bit, pin := range []int{14, 13, 12, 11} {
			if st.Compared.Has(pin) {
				require.Equal(t, n>>bit&1 != 0, st.High.Has(pin), "step %d pin %d", i+1, pin)
			}
		}
		if st.Compared.Has(15) {
			require.Equal(t, n == 15 && st.Drive.Has(10), st.High.Has(15), "step %d carry", i+1)
			if st.High.Has(15) {
				carries++
			}
		}
		previous = st
	}
	require.Positive(t, carries)
}

// A 3-stage shift register is synchronised from all unknown by three clocks with
// its input known, and by no fewer (textbook: an n-stage shift register has a
// synchronising sequence of length n; Kohavi, Switching and Finite Automata
// Theory, from memory).
func TestShiftRegisterIsSynchronisedByItsLength(t *testing.T) {
	s := sequence(t, `
part 3 "3-stage shift register"
kind shift-register
families 74
source "from memory"
package DIP6
  D 1 | | 6 VCC
  CLK 2 | | 5 NC
  GND 3 | | 4 Q3
inputs D CLK
outputs Q3
register q[2]
    on rise CLK : {q[0], D}
register Q3
    on rise CLK : q[1]
`)
	rises := 0
	for i, st := range s.Steps {
		if i > 0 && st.Drive.Has(2) && !s.Steps[i-1].Drive.Has(2) {
			rises++
		}
		if st.Compared.Has(4) {
			break
		}
	}
	require.Equal(t, 3, rises, "the output is known after three clocks")
}
