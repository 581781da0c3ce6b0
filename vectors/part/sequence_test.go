package part_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/part"
)

// counter is a correct definition with a sequence, that the tests below spoil.
const counter = `part 4999 "4-bit counter"
kind counter
families 4000B
source "made up"
package DIP8
     CLK  1 | U | 8 VDD
       R  2 |   | 7 Q0
      D0  3 |   | 6 D1
     VSS  4 |   | 5 T
inputs  CLK R D0 D1 T
tie low T
outputs Q0
bus D = D1 D0
register count[4]
    when R       : {D, D}
    on rise CLK : count + 1
Q0 = count[3]
sequence "by hand"
    step   R=1 D=2
    step   R=0, D=0b01
    repeat 8 CLK=1, CLK=0
`

func TestASequenceIsRead(t *testing.T) {
	parts, err := part.Parse("counter.part", counter)
	require.NoError(t, err)
	clk, r, d0, d1 := part.PinSet(1), part.PinSet(2), part.PinSet(3), part.PinSet(6)
	require.Len(t, parts[0].Variants[0].Logic.Sequences, 1)
	q := parts[0].Variants[0].Logic.Sequences[0]
	require.Equal(t, "by hand", q.Name)
	require.Equal(t, []part.SequenceRow{
		{Times: 1, Line: 19, Text: "step R = 1 D = 2", Steps: []part.Levels{{High: r | d1, Low: d0}}},
		{Times: 1, Line: 20, Text: "step R = 0, D = 0b01", Steps: []part.Levels{{Low: r}, {High: d0, Low: d1}}},
		{Times: 8, Line: 21, Text: "repeat 8 CLK = 1, CLK = 0", Steps: []part.Levels{{High: clk}, {Low: clk}}},
	}, q.Rows)
	require.Equal(t, r|d0, part.Levels{High: d0, Low: d1}.Over(r|d1))
}

func TestMistakesInASequenceAreNamedWithTheirPlace(t *testing.T) {
	for _, test := range []struct{ name, old, new, want string }{
		{"no name", `sequence "by hand"`, "sequence", "counter.part:18:1: write sequence \"its name and source\", then lines such as step R=1 IN=0"},
		{"no rows", "    step   R=1 D=2\n    step   R=0, D=0b01\n    repeat 8 CLK=1, CLK=0\n", "", ":18:1: write sequence"},
		{"no sequence", "sequence \"by hand\"\n", "", ":18:5: step stands under a sequence"},
		{"unknown", "R=1 D=2", "R=1 E=2", ":19:16: there is no pin or bus E"},
		{"an output", "R=1 D=2", "R=1 Q0=1", ":19:16: Q0 cannot be driven"},
		{"inside", "R=1 D=2", "R=1 count=1", ":19:16: count[3] cannot be driven"},
		{"tied", "R=1 D=2", "R=1 T=1", ":19:16: T cannot be driven"},
		{"level", "R=1 D=2", "R=2 D=2", ":19:14: 2 is no level of R: write 0 or 1"},
		{"unknown level", "R=1 D=2", "R=x D=2", ":19:14: x is no level of R: write 0 or 1"},
		{"width", "R=1 D=2", "R=1 D=4", ":19:18: 4 is no level of D: write a number of 2 bits at most"},
		{"twice", "R=1 D=2", "R=1 D=2 D1=0", ":19:20: D1 gets its level twice in one step"},
		{"no level", "R=1 D=2", "R=1 D", ":19:16: write the level that each pin takes: R=1 IN=0"},
		{"comma", "R=0, D=0b01", "R=0,", "20:15: write the level that each pin takes"},
		{"count", "repeat 8", "repeat 0", ":21:12: write how often, from 1 to 400000"},
		{"no count", "repeat 8 CLK=1", "repeat CLK=1", ":21:12: write how often"},
		{"length", "repeat 8", "repeat 199999", ":18:1: the sequences of the part have 400001 steps, more than 400000"},
		{"same name", "repeat 8 CLK=1, CLK=0\n", "step R=1\nsequence \"by hand\"\n step R=0\n", ":22:10: two sequences have this name"},
		{"no memory", "register count[4]\n    when R       : {D, D}\n    on rise CLK : count + 1\nQ0 = count[3]", "Q0 = CLK & R & D0 & D1", "the part remembers nothing"},
	} {
		t.Run(test.name, func(t *testing.T) {
			require.Contains(t, counter, test.old)
			_, err := part.Parse("counter.part", strings.Replace(counter, test.old, test.new, 1))
			require.ErrorContains(t, err, test.want)
		})
	}
}

func TestASequenceIsInheritedAndReplacedByItsName(t *testing.T) {
	parts, err := part.Parse("counter.part", counter+"part 4998 \"a\"\nlike 4999\nsequence \"more\"\n step R=1\n"+
		"part 4997 \"b\"\nlike 4999\nsequence \"by hand\"\n step R=1\n")
	require.NoError(t, err)
	more, instead := parts[1].Variants[0].Logic.Sequences, parts[2].Variants[0].Logic.Sequences
	require.Len(t, more, 2)
	require.Len(t, more[0].Rows, 3)
	require.Equal(t, "more", more[1].Name)
	require.Len(t, instead, 1)
	require.Len(t, instead[0].Rows, 1)
}
