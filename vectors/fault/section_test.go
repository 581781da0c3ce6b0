package fault_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/fault"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

const twoGates = `
part 9900 "two gates"
kind gate
families 74LS
source "from memory"
package DIP8
    1A 1 | U | 8 VCC
    1B 2 |   | 7 2Y
    1Y 3 |   | 6 2B
    GND 4 |  | 5 2A
inputs 1A 1B 2A 2B
outputs 1Y 2Y
gate 1..2
    #Y = !(#A & #B)
end
`

// The floor of a pass, by hand: a NAND asks for both levels of its output and for
// each input; what a definition leaves out counts for nothing.
func TestSectionsComeUpToTheFloor(t *testing.T) {
	for _, c := range []struct {
		name, more string
		whole      []bool
		lacking    string
		untested   part.Pins
	}{
		{"both gates", "", []bool{true, true}, "", 0},
		{"the output of one left out", `untested "why" 2Y`, []bool{true, false}, "no output of it is compared", part.PinSet(7)},
		{"an input of one held low", "tie low 2A\nuntested \"why\" 2A", []bool{true, false}, "output 2Y is never expected low", part.PinSet(5)},
		{"all outputs left out", `untested "why" 1Y 2Y`, []bool{false, false}, "no output of it is compared", part.PinSet(7)},
	} {
		x := completed(t, twoGates+c.more)
		sections := x.Cover().Sections
		require.Len(t, sections, len(c.whole), c.name)
		for i, s := range sections {
			require.Equal(t, c.whole[i], s.Whole(), "%s, gate %s: %v", c.name, s.Name, s.Lacking)
		}
		last := sections[len(sections)-1]
		require.Equal(t, "2", last.Name)
		require.Equal(t, c.untested, last.Untested, c.name)
		if c.lacking != "" {
			require.Contains(t, last.Lacking, c.lacking, c.name)
		}
	}
}

// A flip-flop with a clear has nine cell faults: its clear ignored, without effect,
// setting, and permanent; its clock ignored, without effect, inverting, at the other
// edge and at both. Counted by hand; a test of it shows them all.
func TestCellsOfAFlipFlop(t *testing.T) {
	x := completed(t, `
part 9900 "flip-flop"
kind flip-flop
families 74LS
source "from memory"
package DIP6
    D 1 | U | 6 VCC
    CLK 2 | | 5 /CLR
    GND 3 | | 4 Q
inputs D CLK /CLR
outputs Q
register Q
    when !/CLR  : 0
    on rise CLK : D
`)
	c := x.Cover()
	require.Equal(t, fault.Tally{Total: 9, Detectable: 9, Detected: 9}, c.Cells)
	require.Equal(t, 100, c.StuckAt.Percent())
	require.True(t, c.Sections[0].Whole())
}

// A clear that a later rule covers at every edge does nothing by itself at the edge:
// what cannot be shown is proven so, not missed. The enable and its complement in one
// condition are always true (by Boolean algebra).
func TestWhatCannotBeShownIsProven(t *testing.T) {
	x := completed(t, `
part 9900 "flip-flop with an enable that enables always"
kind flip-flop
families 74LS
source "from memory"
package DIP6
    D 1 | U | 6 VCC
    CLK 2 | | 5 EN
    GND 3 | | 4 Q
inputs D CLK EN
outputs Q
register Q
    on rise CLK when EN : D
    on rise CLK         : D
`)
	c := x.Cover()
	require.Empty(t, c.Cells.Missed)
	require.Contains(t, c.Cells.Undetectable, `Q ignores "on rise CLK when EN : D"`)
	require.Equal(t, c.Cells.Detectable, c.Cells.Detected)
}

func completed(t *testing.T, text string) *fault.Examination {
	t.Helper()
	parts, err := part.Parse("own.part", text)
	require.NoError(t, err)
	typ := part.Type{Variant: parts[0].Variants[0], Family: parts[0].Families()[0]}
	c, err := logic.Compile(typ.Variant)
	require.NoError(t, err)
	s, err := stimulus.For(c)
	require.NoError(t, err)
	return fault.Complete(c, typ.Family, s)
}
