package part_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// inverter is a correct definition that the tests below spoil, one line each.
const inverter = `part 7404 "hex inverter"
kind inverter
families 74 74LS
source "from memory"
package DIP14
     1A  1 | U | 14 VCC
     1Y  2 |   | 13 6A
     2A  3 |   | 12 6Y
     2Y  4 |   | 11 5A
     3A  5 |   | 10 5Y
     3Y  6 |   | 9  4A
    GND  7 |   | 8  4Y
inputs  1A..6A
outputs 1Y..6Y
gate 1..6
    #Y = !#A
`

func TestParseGivesPinsRolesAndGates(t *testing.T) {
	parts, err := part.Parse("inverter.part", inverter)
	require.NoError(t, err)
	require.Len(t, parts, 1)
	v := parts[0].Variants[0]
	require.Equal(t, 14, v.VCC())
	require.Equal(t, 7, v.GND())
	require.Equal(t, part.Input, v.Pin("6A").Role)
	require.Equal(t, 13, v.Pin("6A").Number)
	require.Equal(t, part.TotemPole, v.Pin("4Y").Stage)
	require.Equal(t, []int{8, 9}, v.Gates[3].Pins)
	require.Equal(t, "4", v.GateOf(8))
}

func TestMistakesAreNamedWithTheirPlace(t *testing.T) {
	for _, test := range []struct{ name, old, new, want string }{
		{"unknown pin", "#Y = !#A", "#Y = !#B", "inverter.part:16:11: there is no pin, bus or inner name 1B"},
		{"pin number", "2A  3 |", "2A  5 |", ":8:10: pin 3 belongs here, not 5"},
		{"same name twice", "2Y  4 |", "1Y  4 |", ":9:6: two pins are named 1Y"},
		{"family", "74 74LS", "74 74XS", ":3:13: there is no family 74XS: the families are 74 74H"},
		{"kind", "kind inverter", "kind gadget", ":2:1: the kind must be one of: gate"},
		{"no role", "inputs  1A..6A", "inputs  1A..5A", "pin 13 (6A) has no role"},
		{"two roles", "outputs 1Y..6Y", "outputs 1Y..6Y 1A", ":14:16: pin 1A has its role already, from line 13"},
		{"value to an input", "#Y = !#A", "#A = !#Y", ":16:5: 1A is an input: it cannot be given a value"},
		{"loop", "#Y = !#A", "#Y = !(#A & #Y)", ":16:5: 1Y depends on itself: write what remembers as a register"},
		{"bracket", "#Y = !#A", "#Y = !(#A", ":16:14: \")\" must stand here, not the end of the line"},
		{"stray sign", "#Y = !#A", "#Y = !#A @", ":16:14: '@' has no meaning here"},
		{"release", "#Y = !#A", "#Y = #A ? z : 1", ":16:5: 1Y gives z, but is not a three-state output or bidirectional"},
		{"range", "1A..6A", "1A..6B", ":13:9: 1A..6B is not a range"},
		{"unknown statement", "outputs", "outpts", ":14:1: outpts begins no statement of the language"},
		{"quote", `"from memory"`, `"from memory`, ":4:8: the text has no closing quote"},
		{"no supply", "14 VCC", "14 7A", "no role"},
		{"package", "DIP14", "DIP15", ":5:1: write package DIP14: an even number of pins from 4 to 28"},
		{"odd title", `"hex inverter"`, "", ":1:1: write the number and the title"},
	} {
		require.Contains(t, inverter, test.old, test.name)
		_, err := part.Parse("inverter.part", strings.Replace(inverter, test.old, test.new, 1))
		require.ErrorContains(t, err, test.want, test.name)
	}
}

func TestErrorShowsTheLineWithACaret(t *testing.T) {
	_, err := part.Parse("inverter.part", strings.Replace(inverter, "2A  3 |", "2A  5 |", 1))
	require.EqualError(t, err, "inverter.part:8:10: pin 3 belongs here, not 5\n         2A  5 |   | 12 6Y\n             ^")
}

func TestIncompleteTableNamesTheCombination(t *testing.T) {
	table := strings.Replace(inverter, "    #Y = !#A\n", "    table\n        #A | #Y\n        H  | L\n", 1)
	_, err := part.Parse("inverter.part", table)
	require.ErrorContains(t, err, "no row covers 1A=L")
}

func TestLikeInheritsAndReplaces(t *testing.T) {
	parts, err := part.Parse("inverter.part", inverter+`
part 7405 "hex inverter, open-collector outputs"
like 7404
families 74LS
outputs open-collector 1Y..6Y
drive buffer 1Y
part 7407 "hex buffer, open-collector outputs"
like 7405
gate 1..6
    #Y = #A
`)
	require.NoError(t, err)
	require.Equal(t, part.OpenCollector, parts[1].Variants[0].Pin("3Y").Stage)
	require.Equal(t, part.BufferDrive, parts[1].Variants[0].Pin("1Y").Drive)
	require.Len(t, parts[1].Families(), 1)
	require.Len(t, parts[2].Variants[0].Logic.Equations, 6)
	require.NotEqual(t, parts[0].SHA256, parts[1].SHA256)
}

func TestLikeReplacesARegisterButKeepsItsBus(t *testing.T) {
	parts, err := part.Parse("counter.part", `part 4520 "3-bit counter"
kind counter
families 4000B
source "from memory"
package DIP8
    CLK  1 | U | 8 VDD
      R  2 |   | 7 Q0
     NC  3 |   | 6 Q1
    VSS  4 |   | 5 Q2
inputs CLK R
outputs Q0..Q2
bus Q = Q2..Q0
register Q
    when R      : 0
    on rise CLK : Q + 1
part 4521 "3-bit down counter"
like 4520
register Q
    when R      : 0
    on rise CLK : Q - 1
part 4522 "3-bit counter, held"
like 4521
`)
	require.NoError(t, err)
	require.Len(t, parts[2].Variants[0].Logic.Registers, 1)
	require.Len(t, parts[1].Variants[0].Logic.Registers, 1)
}

// Common practice: the 40000 numbers of the CMOS series have five digits.
func TestTypeNamesOfTheCMOSSeries(t *testing.T) {
	for typed, want := range map[string]string{
		"4017B": "4017 4000B", "14017B": "4017 4000B", "40174": "40174", "40174B": "40174 4000B",
		"4011UBE": "4011 4000UB", "4011AE": "4011 4000A", "4011BN": "4011 4000B", "14011UBCP": "4011 4000UB", "4011N": "4011",
		"74HC4017": "4017 74HC", "74HC40103": "40103 74HC", "74HCT40105": "40105 74HCT", "74HC4075": "4075 74HC",
	} {
		number, family, ok := part.SplitTypeName(typed)
		require.True(t, ok, typed)
		if family != nil {
			number += " " + family.Name
		}
		require.Equal(t, want, number, typed)
	}
}

// Whatever the text, the parser and the compiler end, and say so in order.
func FuzzParse(f *testing.F) {
	f.Add(inverter)
	f.Add(strings.Replace(inverter, "    #Y = !#A\n", "    table\n        #A | #Y\n        H  | L\n        L | TOGGLE\n", 1))
	f.Add(counter)
	f.Add(staticRAM)
	f.Add(dynamicRAM)
	f.Add("part 1 \"\"\nregister a[64]\n on rise a : {a, a} + 3 * (a << a)\n")
	f.Fuzz(func(t *testing.T, text string) {
		parts, err := part.Parse("fuzz.part", text)
		if err != nil {
			require.NotEmpty(t, err.Error())
			return
		}
		for _, p := range parts {
			for _, v := range p.Variants {
				if _, err := logic.Compile(v); err != nil && v.Memory == nil {
					require.ErrorAs(t, err, new(*logic.TooLargeError))
				}
			}
		}
	})
}

func TestPinsThatChangeTogether(t *testing.T) {
	parts, err := part.Parse("inverter.part", inverter+"together 1A 3A while !2A\n")
	require.NoError(t, err)
	l := parts[0].Variants[0].Logic
	require.Len(t, l.Together, 1)
	var pins []int
	for _, s := range l.Together[0].Signals {
		pins = append(pins, l.Signals[s].Pin)
	}
	require.Equal(t, []int{1, 5}, pins)
	require.Equal(t, 1, l.Together[0].While.Width())

	for line, want := range map[string]string{
		"together 1A while 2A":         ":17:1: two pins or more change together",
		"together 1A 2A":               ":17:1: write the pins and when they change in one step: together SET R while BYP",
		"together 1A 7A while 2A":      "there is no pin or bus 7A",
		"together 1A 2A while {1A,2A}": "the condition must be one bit, this one has 2",
		"stable 1A":                    ":17:1: write the inputs and when they must not change: stable D_U while !CLK",
	} {
		_, err := part.Parse("inverter.part", inverter+line+"\n")
		require.ErrorContains(t, err, want, line)
	}
}
