package identify_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/identify"
	"chipassay/host/probe"
	"chipassay/host/virtual"
	"chipassay/vectors/logic"
	"chipassay/vectors/part"
)

// house is a chip that no library has: a full adder, a majority vote, a three-state
// buffer and an open collector (textbook functions, on pins of our own).
const house = `
part 749901 "house-marked chip of the tram depot's signal boxes"
kind gate
families 74LS
source "from memory"

package DIP14
    A  1 | U | 14 VCC
    B  2 |   | 13 EN
    C  3 |   | 12 D
    S  4 |   | 11 T
    M  5 |   | 10 E
   NC  6 |   | 9  F
  GND  7 |   | 8  O

inputs A B C D E F EN
outputs S M
outputs three-state T
outputs open-collector O

S = A ^ B ^ C
M = A & B | A & C | B & C
T = EN ? D : z
O = !(E & F)
`

func houseType(t *testing.T, text string) part.Type {
	t.Helper()
	parts, err := part.Parse("house.part", text)
	require.NoError(t, err)
	v := parts[0].Variants[0]
	return part.Type{Variant: v, Family: v.Families[0]}
}

// What the library lacks is measured: its equations are those of the textbook, and the
// definition that is made of them behaves as the chip in every row.
func TestAChipThatTheLibraryLacksIsMeasured(t *testing.T) {
	typ := houseType(t, house)
	a := identified(t, identify.Plan{Seed: 1, MemorySteps: 2000}, typ)
	require.False(t, a.Certain)
	require.Equal(t, 3, a.Exit())
	require.NotNil(t, a.Table, "%v %s", a.Candidates, a.Reason)
	require.False(t, a.Table.Remembers)
	require.GreaterOrEqual(t, a.Table.Steps, 2000)
	require.Equal(t, []int{6}, a.Table.Idle, "not connected")
	expressions := map[int]identify.Equation{}
	for _, e := range a.Table.Equations {
		expressions[e.Pin] = e
	}
	require.Equal(t, "P1 ^ P2 ^ P3", expressions[4].Expression)
	require.Equal(t, "P1 & P2 | P1 & P3 | P2 & P3", expressions[5].Expression)
	require.Equal(t, identify.Equation{Pin: 11, Expression: "P12", Stage: part.ThreeState, Enable: "P13"}, expressions[11])
	require.Equal(t, identify.Equation{Pin: 8, Expression: "!(P9 & P10)", Stage: part.OpenCollector}, expressions[8])

	again := houseType(t, a.Table.Definition("749901", "74LS", probe.SeatOf(typ.Variant)))
	was, err := logic.Compile(typ.Variant)
	require.NoError(t, err)
	is, err := logic.Compile(again.Variant)
	require.NoError(t, err)
	m, n := was.NewMachine(), is.NewMachine()
	for row := range 1 << len(was.InputPins) {
		for i, pin := range was.InputPins {
			level := logic.Splat(logic.FromBool(row>>i&1 != 0))
			m.Set(pin, level)
			n.Set(pin, level)
		}
		m.Settle()
		n.Settle()
		for _, o := range was.Outputs {
			require.Equal(t, m.Out(o.Pin), n.Out(o.Pin), "pin %d in row %b", o.Pin, row)
		}
	}
}

// A flip-flop on pins that no part has: memory is seen.
func TestMemoryIsSeen(t *testing.T) {
	typ := houseType(t, `
part 749902 "house-marked flip-flop"
kind flip-flop
families 74HC
source "from memory"

package DIP14
   D1  1 | U | 14 VCC
  CK1  2 |   | 13 NC
   D2  3 |   | 12 NC
  CK2  4 |   | 11 NC
   Q1  5 |   | 10 NC
   Q2  6 |   | 9  NC
  GND  7 |   | 8  X

inputs D1 D2 CK1 CK2
outputs Q1 Q2 X

gate 1..2
    register q#[1]
        on rise CK# : D# ^ q#
    Q# = q#
end
X = D1 & D2
`)
	a := identified(t, identify.Plan{Seed: 1, MemorySteps: 2000}, typ)
	require.NotNil(t, a.Table, "%v %s", a.Candidates, a.Reason)
	require.True(t, a.Table.Remembers, a.Reason)
	require.Nil(t, a.Table.Rows)
	require.False(t, a.Certain)
}

// A dead chip, none of whose outputs drives, is no good part and no function.
func TestADeadChipIsNotMeasuredAsOne(t *testing.T) {
	var dead []virtual.Defect
	for _, text := range []string{"3 dead pull-up", "3 dead pull-down", "6 dead pull-up", "6 dead pull-down", "8 dead pull-up", "8 dead pull-down", "11 dead pull-up", "11 dead pull-down"} {
		d, err := virtual.ParseDefect(text)
		require.NoError(t, err)
		dead = append(dead, d)
	}
	a := identified(t, identify.Plan{Seed: 1, MemorySteps: 2000}, typeOf(t, "7400"), dead...)
	require.False(t, a.Certain)
	require.False(t, a.Verdict.Passed())
	require.Nil(t, a.Table)
}
