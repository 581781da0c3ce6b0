package logic_test

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

const counterText = `
part 9900 "two-bit counter with clear, load and enable"
kind counter
families 74LS
source "from memory"
package DIP12
    /CLR 1 | U | 12 VCC
    /LOAD 2 |  | 11 A
    EN 3 |     | 10 B
    CLK 4 |    | 9 QA
    T 5 |      | 8 QB
    GND 6 |    | 7 NC
inputs /CLR /LOAD EN T CLK A B
outputs QA QB
bus Q = QB QA
bus IN = B A
register Q
    when !/CLR              : 0
    on rise CLK when !/LOAD : IN
    on rise CLK when EN & T : Q + 1
`

// Each cell fault does what a definition with one line changed does: the register
// written bit by bit, the broken bit with its own rules. QB is the first bit.
func TestCellFaultsAreChangedDefinitions(t *testing.T) {
	bit := func(name, from, to string) string { // QB with a changed line, QA as it is
		sound := "register QA\n when !/CLR : 0\n on rise CLK when !/LOAD : A\n on rise CLK when EN & T : !QA\n"
		broken := "register QB\n when !/CLR : 0\n on rise CLK when !/LOAD : B\n on rise CLK when EN & T : QB ^ QA\n"
		require.Contains(t, broken, from, name)
		head, _, _ := strings.Cut(counterText, "register Q\n")
		return head + sound + strings.Replace(broken, from, to, 1)
	}
	for _, c := range []struct {
		fault logic.CellFault
		text  string
	}{
		{logic.CellFault{Rule: 0, Kind: logic.Ignores}, bit("ignores", "when !/CLR : 0\n", "when 0 : 0\n")},
		{logic.CellFault{Rule: 0, Kind: logic.Holds}, bit("holds", "when !/CLR : 0", "when !/CLR : QB")},
		{logic.CellFault{Rule: 0, Kind: logic.Inverts}, bit("inverts", "when !/CLR : 0", "when !/CLR : 1")},
		{logic.CellFault{Rule: 1, Kind: logic.Ignores}, bit("ignores load", "CLK when !/LOAD : B", "CLK when !/LOAD & 0 : B")},
		{logic.CellFault{Rule: 1, Kind: logic.Obeys, Term: logic.AllTerms}, bit("loads always", "CLK when !/LOAD : B", "CLK : B")},
		{logic.CellFault{Rule: 1, Kind: logic.OtherEdge}, bit("other edge", "on rise CLK when !/LOAD", "on fall CLK when !/LOAD")},
		{logic.CellFault{Rule: 1, Kind: logic.BothEdges}, bit("both edges", "on rise CLK when !/LOAD : B", "on rise CLK when !/LOAD : B\n on fall CLK when !/LOAD : B")},
		{logic.CellFault{Rule: 2, Kind: logic.Obeys, Term: 0}, bit("counts without EN", "EN & T", "T")},
		{logic.CellFault{Rule: 2, Kind: logic.Obeys, Term: 1}, bit("counts without T", "EN & T", "EN")},
		{logic.CellFault{Rule: 2, Kind: logic.Miscounts, State: 0b01}, bit("miscounts from 1", "QB ^ QA", "QB ^ QA ^ (!QB & QA)")},
		{logic.CellFault{Rule: 2, Kind: logic.Miscounts, State: 0b10}, bit("miscounts from 2", "QB ^ QA", "QB ^ QA ^ (QB & !QA)")},
	} {
		broken := compileText(t, counterText).NewMachine()
		broken.Break(c.fault, ^uint64(0))
		changed := compileText(t, c.text).NewMachine()
		good := compileText(t, counterText).NewMachine()
		random := rand.New(rand.NewPCG(1, 1))
		ups := []uint64{random.Uint64(), random.Uint64()}
		for _, m := range []*logic.Machine{broken, good} {
			m.Wake(func(i int) uint64 { return ups[i] })
		}
		changed.Wake(func(i int) uint64 { return ups[1-i] }) // it states QA first
		differed := false
		for step := range 400 {
			pin := []int{1, 2, 3, 4, 4, 4, 5, 10, 11}[random.IntN(9)]
			high := random.Uint64() | random.Uint64()
			for _, m := range []*logic.Machine{broken, changed, good} {
				m.Set(pin, logic.Word{Hi: high, Lo: ^high})
				m.Settle()
			}
			for _, out := range []int{8, 9} {
				require.Equal(t, changed.Out(out), broken.Out(out), "%s, step %d, pin %d", fmt.Sprint(c.fault), step, out)
				differed = differed || changed.Out(out) != good.Out(out)
			}
		}
		require.True(t, differed, fmt.Sprint(c.fault))
	}
}

// The terms of a condition, by its parentheses undone (De Morgan).
func TestTermsOfAConjunction(t *testing.T) {
	c := compileText(t, strings.Replace(counterText, "EN & T", "EN & !(T | !/LOAD) & (A | B)", 1))
	terms := c.Terms(c.Registers[0].Rules[2].When)
	require.Len(t, terms, 4)
	require.Equal(t, c.Inputs[3], terms[0])
	require.Equal(t, ^c.Inputs[5], terms[1])
	require.Equal(t, c.Inputs[2], terms[2])
	require.Empty(t, c.Terms(-1))
}

func compileText(t *testing.T, text string) *logic.Circuit {
	t.Helper()
	parts, err := part.Parse("cell.part", text)
	require.NoError(t, err)
	c, err := logic.Compile(parts[0].Variants[0])
	require.NoError(t, err)
	return c
}
