package stimulus_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
	"chipassay/vectors/stimulus"
)

const ruled = `
part 7499 "a pulse-triggered flip-flop, and a gate whose EN must stay while W is high"
kind flip-flop
families 74
source "from memory"
package DIP14
   CLK  1 | U | 14 VCC
  /CLR  2 |   | 13 NC
     J  3 |   | 12 NC
    EN  4 |   | 11 NC
     W  5 |   | 10 H
     G  6 |   | 9  P
   GND  7 |   | 8  Q
inputs CLK /CLR J EN W G H
outputs P Q
stable EN while W
never G & H "both word lines"
register Q
    when !/CLR     : 0
    on pulse CLK when J : !Q
P = EN & W & (G | H)
`

// What a step may change (vectors/README.md, Stimulus): an edge stands alone, the
// inputs of a pulse-triggered flip-flop stay while its clock is high, what the data
// sheet wants stable stays also in the step in which its condition comes or goes.
func TestWhatAStepMayChange(t *testing.T) {
	parts, err := part.Parse("ruled.part", ruled)
	require.NoError(t, err)
	c, err := logic.Compile(parts[0].Variants[0])
	require.NoError(t, err)
	rules := stimulus.RulesOf(c)
	high := func(names string) (pins part.Pins) {
		for _, name := range strings.Fields(names) {
			pins = pins.With(parts[0].Variants[0].Pin(name).Number, true)
		}
		return pins
	}
	for _, s := range []struct {
		from, to string
		allowed  bool
	}{
		{"/CLR", "/CLR J EN G", true}, // data, any number
		{"/CLR", "/CLR CLK", true},
		{"/CLR CLK", "/CLR", true},
		{"/CLR", "", true},
		{"/CLR", "CLK", false},
		{"/CLR", "/CLR CLK J", false},
		{"/CLR CLK J", "/CLR", false},
		{"/CLR CLK J", "/CLR CLK", false},
		{"/CLR CLK", "/CLR CLK EN G", true}, // no inputs of the flip-flop
		{"/CLR W", "/CLR W EN", false},
		{"/CLR W EN", "/CLR W", false},
		{"/CLR", "/CLR W EN", false},
		{"/CLR W", "/CLR EN", false},
		{"/CLR W", "/CLR", true},
		{"/CLR G", "/CLR H", true},
		{"/CLR G", "/CLR G H", false},
	} {
		require.Equal(t, s.allowed, rules.Allows(high(s.from), high(s.to)), "from %q to %q", s.from, s.to)
	}
}

// A rule of some families binds their chips alone; the vectors, which serve all families of
// a part, keep it (vectors/README.md, Logic).
func TestRulesOfAFamily(t *testing.T) {
	text := strings.NewReplacer("families 74\n", "families 74 74LS\n", "stable EN while W", "stable EN while W in 74").Replace(ruled)
	parts, err := part.Parse("ruled.part", text)
	require.NoError(t, err)
	v := parts[0].Variants[0]
	c, err := logic.Compile(v)
	require.NoError(t, err)
	from := part.PinSet(v.Pin("/CLR").Number, v.Pin("W").Number)
	to := from | part.PinSet(v.Pin("EN").Number)
	for family, why := range map[string]string{"74": "pin 4 (EN) must not change while pin 5 (W) is high", "74LS": ""} {
		rules := stimulus.RulesIn(c, part.FamilyByName(family))
		require.Equal(t, why == "", rules.Allows(from, to), family)
		require.Equal(t, why, rules.Refusal(from, to), family)
	}
	require.False(t, stimulus.RulesOf(c).Allows(from, to))
}

// Up to 18 inputs are swept whole, 2^18 steps, one pin changing in each.
func TestTheLargestSweep(t *testing.T) {
	and := func(inputs int) *part.Variant {
		var pins, names strings.Builder
		name := func(pin int) string {
			switch {
			case pin <= inputs && pin < 14:
				return fmt.Sprintf("A%d", pin)
			case pin == 14:
				return "GND"
			case pin == 28:
				return "VCC"
			case pin == 27:
				return "Y"
			case pin-1 <= inputs: // ground stands between
				return fmt.Sprintf("A%d", pin-1)
			}
			return "NC"
		}
		for i := range 14 {
			fmt.Fprintf(&pins, "%s %d | | %d %s\n", name(i+1), i+1, 28-i, name(28-i))
		}
		for i := range inputs {
			fmt.Fprintf(&names, " & A%d", i+1)
		}
		parts, err := part.Parse("and.part", fmt.Sprintf("part 7499 \"AND\"\nkind gate\nfamilies 74\nsource \"from memory\"\npackage DIP28\n%sinputs A1..A%d\noutputs Y\nY = %s\n",
			&pins, inputs, strings.TrimPrefix(names.String(), " & ")))
		require.NoError(t, err)
		return parts[0].Variants[0]
	}
	s, err := stimulus.Exhaustive(and(18))
	require.NoError(t, err)
	require.Len(t, s.Steps, 1<<18)
	high := 0
	for i, step := range s.Steps {
		if i > 0 {
			require.Equal(t, 1, (step.Drive ^ s.Steps[i-1].Drive).Len())
		}
		high += step.High.Len()
	}
	require.Equal(t, 1, high, "an AND is high for one combination")
	_, err = stimulus.Exhaustive(and(19))
	require.ErrorContains(t, err, "19 inputs: a sweep of all combinations would take 2^19 steps")
}
