package part_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/part"
)

const stabled = `
part 7499 "counter with an enable"
kind counter
families 74 74LS 74HC
source "from memory"
package DIP8
   CLK 1 | U | 8 VCC
   EN  2 |   | 7 Q
   M   3 |   | 6 NC
   GND 4 |   | 5 NC
inputs CLK EN M
outputs Q
never EN & M "both"
stable EN while !CLK in 74 74LS
stable M while CLK
register Q
    on rise CLK when EN & !M : !Q

part 7498 "the same in another family"
like 7499
families 74S 74LS
`

// A rule holds in the families that its line names, in all where it names none
// (vectors/README.md, Logic). Where a part is like another, families that it is not made in
// do no harm.
func TestARuleMayHoldInSomeFamilies(t *testing.T) {
	parts, err := part.Parse("test.part", stabled)
	require.NoError(t, err)
	for i, want := range []map[string][]bool{
		{"74": {true, true}, "74LS": {true, true}, "74HC": {false, true}},
		{"74S": {false, true}, "74LS": {true, true}},
	} {
		rules := parts[i].Variants[0].Logic.Stable
		require.Len(t, rules, 2)
		for family, holds := range want {
			for j, rule := range rules {
				require.Equal(t, holds[j], rule.In(part.FamilyByName(family)), "%s, rule %d in %s", parts[i].Number, j, family)
			}
		}
	}
	parts, err = part.Parse("test.part", strings.Replace(stabled, "families 74S 74LS", "families 74S", 1))
	require.NoError(t, err)
	require.Len(t, parts[1].Variants[0].Logic.Stable, 1, "a rule of none of the part's families")
}

func TestRulesAreChecked(t *testing.T) {
	rule := "stable EN while !CLK in 74 74LS"
	for bad, want := range map[string]string{
		"stable EN while !CLK in 74LX":       "test.part:14:25: there is no family 74LX",
		"stable EN while !CLK in":            "name the families: in 74 74L",
		"stable EN while !CLK in 74 74AS":    "test.part:14:28: part 7499 is not made in family 74AS: its families are 74 74LS 74HC",
		"stable EN in 74":                    "write the inputs and when they must not change: stable D_U while !CLK",
		"stable EN while in 74":              "test.part:14:22: a name, a number or a bracket must stand here",
		"stable EN while !CLK 74":            "74 is not expected here",
		"stable ENP while !CLK in 74":        "there is no pin or bus ENP",
		"never EN & CLK \"both high\" in 74": "in is not expected here",
	} {
		_, err := part.Parse("test.part", strings.Replace(stabled, rule, bad, 1))
		require.ErrorContains(t, err, want, bad)
	}
}
