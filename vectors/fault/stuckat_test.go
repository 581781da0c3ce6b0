package fault_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/fault"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

func compile(t *testing.T, text string) *logic.Circuit {
	t.Helper()
	parts, err := part.Parse("test.part", text)
	require.NoError(t, err)
	c, err := logic.Compile(parts[0].Variants[0])
	require.NoError(t, err)
	return c
}

// nand writes a definition of one n-input NAND.
func nand(n int) string {
	var names, rows []string
	for i := range n {
		names = append(names, fmt.Sprintf("I%d", i))
	}
	pins := append(append([]string{}, names...), "Y")
	for len(pins) < 14 {
		pins = append(pins, "NC")
	}
	pins = append(pins, "GND", "VCC")
	for i := range 8 {
		rows = append(rows, fmt.Sprintf("%s %d | | %d %s", pins[i], i+1, 16-i, pins[15-i]))
	}
	return fmt.Sprintf("part 1 \"nand\"\nkind gate\nfamilies 74\nsource \"from memory\"\npackage DIP16\n%s\ninputs %s\noutputs Y\nY = !(%s)\n",
		strings.Join(rows, "\n"), strings.Join(names, " "), strings.Join(names, " & "))
}

// Textbook result on fault equivalence (Abramovici, Breuer, Friedman, Digital
// Systems Testing and Testable Design, from memory): 2n+2 single stuck-at faults
// of an n-input NAND collapse to n+2 classes, and n+1 vectors detect them all.
func TestNANDFaultsCollapse(t *testing.T) {
	for n := 2; n <= 8; n++ {
		m := fault.NewModel(compile(t, nand(n)))
		require.Equal(t, 2*n+2, m.Lines, "%d inputs", n)
		require.Len(t, m.Classes, n+2, "%d inputs", n)
	}
}

// c17 of the ISCAS-85 benchmark circuits: six two-input NANDs, five inputs, two
// outputs (Brglez and Fujiwara 1985; the netlist from memory).
const c17 = `
part 17 "c17"
kind gate
families 74
source "ISCAS-85, from memory"
package DIP14
  I1 1 | | 14 VCC
  I2 2 | | 13 NC
  I3 3 | | 12 NC
  I6 4 | | 11 NC
  I7 5 | | 10 NC
  O22 6 | | 9 NC
  GND 7 | | 8 O23
inputs I1 I2 I3 I6 I7
outputs O22 O23
n10 = !(I1 & I3)
n11 = !(I3 & I6)
n16 = !(I2 & n11)
n19 = !(n11 & I7)
O22 = !(n10 & n16)
O23 = !(n16 & n19)
`

// Published widely for c17: 17 lines, 34 stuck-at faults, 22 after equivalence
// collapsing, none redundant.
func TestC17HasItsPublishedFaults(t *testing.T) {
	c := compile(t, c17)
	m := fault.NewModel(c)
	require.Equal(t, 34, m.Lines)
	require.Len(t, m.Classes, 22)
	s, err := stimulus.For(c)
	require.NoError(t, err)
	for i, d := range m.Detected(s) {
		require.True(t, d, m.Name(m.Classes[i][0]))
	}
}

// A textbook redundancy: in Y = A&B | !A&C | B&C the consensus term B&C changes
// nothing, so that its output stuck at 0 cannot be detected.
func TestRedundantTermHasItsUndetectableFault(t *testing.T) {
	c := compile(t, `
part 2 "consensus"
kind gate
families 74
source "from memory"
package DIP6
  A 1 | | 6 VCC
  B 2 | | 5 Y
  GND 3 | | 4 C
inputs A B C
outputs Y
Y = A & B | !A & C | B & C
`)
	m := fault.NewModel(c)
	s, err := stimulus.For(c)
	require.NoError(t, err)
	var missed []string
	for i, d := range m.Detected(s) {
		if !d {
			missed = append(missed, m.Name(m.Classes[i][0]))
		}
	}
	require.Len(t, missed, 1)
	require.Contains(t, missed[0], "stuck at 0")
}

// The short set of an n-input NAND has the n+1 vectors that are necessary and
// enough: all ones, and each input alone low (textbook result, as above).
func TestShortSetOfANANDIsMinimal(t *testing.T) {
	for n := 2; n <= 8; n++ {
		c := compile(t, nand(n))
		s, err := stimulus.For(c)
		require.NoError(t, err)
		short := fault.Shorten(c, part.FamilyByName("74"), s)
		require.Len(t, short.Steps, n+1)
		require.Equal(t, n+1, fault.LowerBound(c))
	}
}

// A ripple-carry adder is tested by a number of vectors that does not grow with
// its width: eight are enough for any (C-testability; from memory). A greedy choice comes near.
func TestShortSetOfARippleAdderStaysSmall(t *testing.T) {
	adder := func(width int) string {
		var pins []string
		for i := range width {
			pins = append(pins, fmt.Sprintf("A%d", i), fmt.Sprintf("B%d", i))
		}
		pins = append(pins, "C0")
		for i := range width {
			pins = append(pins, fmt.Sprintf("S%d", i))
		}
		pins = append(pins, "CO")
		for len(pins) < 22 {
			pins = append(pins, "NC")
		}
		pins = append(pins, "GND", "VCC")
		var rows []string
		for i := range 12 {
			rows = append(rows, fmt.Sprintf("%s %d | | %d %s", pins[i], i+1, 24-i, pins[23-i]))
		}
		last := width - 1
		return fmt.Sprintf("part 83 \"adder\"\nkind arithmetic\nfamilies 74\nsource \"from memory\"\npackage DIP24\n%s\ninputs A0..A%d B0..B%d C0\noutputs S0..S%d CO\nbus A = A%d..A0\nbus B = B%d..B0\nbus S = S%d..S0\n{CO, S} = A + B + C0\n",
			strings.Join(rows, "\n"), last, last, last, last, last, last)
	}
	for _, width := range []int{3, 4, 5, 6} {
		c := compile(t, adder(width))
		s, err := stimulus.For(c)
		require.NoError(t, err)
		short := fault.Shorten(c, part.FamilyByName("74"), s)
		require.LessOrEqual(t, len(short.Steps), 10, "%d bits: a greedy choice, not the best", width)
		t.Logf("%d bits: %d vectors", width, len(short.Steps))
	}
}
