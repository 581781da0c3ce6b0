package pal_test

import (
	"bytes"
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/host/adapter"
	"chipassay/host/assay"
	"chipassay/host/link"
	"chipassay/host/pal"
	"chipassay/host/virtual"
	"chipassay/vectors/part"
)

// chip20 is a chip with the package of the 20-pin devices: pin n is called Pn.
func chip20(statements string) string {
	text := "part 9001 \"logic of a signal box\"\nkind other\nfamilies 74LS\nsource \"the test\"\npackage DIP20\n"
	for i := 1; i <= 10; i++ {
		left, right := fmt.Sprintf("P%d", i), fmt.Sprintf("P%d", 21-i)
		if i == 10 {
			left = "GND"
		}
		if i == 1 {
			right = "VCC"
		}
		text += fmt.Sprintf("%s %d | | %d %s\n", left, i, 21-i, right)
	}
	return text + statements
}

// read reads a chip in the virtual socket, by the real firmware.
func read(t *testing.T, device, definition string, held map[int]bool, defects ...string) (*pal.Table, *assay.Result, error) {
	t.Helper()
	parts, err := part.Parse("chip.part", definition)
	require.NoError(t, err)
	v := parts[0].Variants[0]
	var all []virtual.Defect
	for _, text := range defects {
		d, err := virtual.ParseDefect(text)
		require.NoError(t, err)
		all = append(all, d)
	}
	chip, err := virtual.NewChip(part.Type{Variant: v, Family: v.Families[0]}, all...)
	require.NoError(t, err)
	conn, err := virtual.Open(t.Context(), virtual.NewSocket(chip, 1))
	require.NoError(t, err)
	a, err := adapter.Open(context.WithoutCancel(t.Context()), link.New(conn, 0))
	require.NoError(t, err)
	defer a.Close()
	d, err := pal.Find(device)
	require.NoError(t, err)
	return pal.Read(t.Context(), func(t part.Type) (assay.MemorySocket, error) { return a.SeatOf(t.Variant) }, d, held, nil)
}

// Pins 13 and 14 are inputs, 15 and 18 outputs, 16 an output that an input enables, 17 one
// that is never enabled; 12 and 19 are always outputs.
const decoder = `inputs P1..P6 P8 P9 P11 P13 P14
tie low P7
outputs P15 P18 P12 P19
outputs three-state P16 P17
P12 = P1 & P2 & !P3 | P13
P15 = P13 & P14
P16 = P8 ? P3 ^ P4 : z
P17 = P1 & !P1 ? P2 : z
P18 = !(P5 | P6)
P19 = parity({P1, P2, P9, P11})
`

// Every combination reads as the chip's equations say, worked out here once more in Go.
func TestATableIsTheChipsFunction(t *testing.T) {
	table, r, err := read(t, "16L8", chip20(decoder), nil)
	require.NoError(t, err)
	require.NotNil(t, table, "%v", r)
	require.Equal(t, []int{1, 2, 3, 4, 5, 6, 7, 8, 9, 11, 13, 14, 17}, table.Inputs, "17 drives at no combination, and is taken for an input")
	var outputs []int
	for _, o := range table.Outputs {
		outputs = append(outputs, o.Pin)
		require.True(t, o.Combinational())
	}
	require.Equal(t, []int{12, 15, 16, 18, 19}, outputs)
	level := func(b bool) pal.Level { return map[bool]pal.Level{false: pal.Low, true: pal.High}[b] }
	for row := range table.Rows() {
		at := map[int]bool{}
		for i, p := range table.Inputs {
			at[p] = row>>i&1 != 0
		}
		want := map[int]pal.Level{
			12: level(at[1] && at[2] && !at[3] || at[13]), 15: level(at[13] && at[14]), 16: level(at[3] != at[4]),
			18: level(!at[5] && !at[6]), 19: level(at[1] != at[2] != (at[9] != at[11])),
		}
		if !at[8] {
			want[16] = pal.Released
		}
		for _, o := range table.Outputs {
			require.Equal(t, want[o.Pin], o.Levels[row], "pin %d at %v", o.Pin, at)
		}
	}
	require.Equal(t, []string{
		"O12 = I1 & I2 & !I3 | I13", "O15 = I13 & I14", "O16 = I8 ? I3 ^ I4 : z", "O18 = !(I5 | I6)", "O19 = I1 ^ I2 ^ I9 ^ I11",
	}, table.Equations())
	require.Empty(t, table.Notes)
}

// An output that feeds itself back holds state: it is read in two orders, differs, and is named.
func TestAnOutputThatHoldsStateIsNamed(t *testing.T) {
	for _, rules := range []string{"when !P1 : 1\n  when !P2 : 0", "when P1 : 1\n  when P2 : 0", "when P2 : P1", "when !P1 : P2"} {
		table, r, err := read(t, "PAL16L8ACN", chip20(`inputs P1..P5
tie low P6..P9 P11 P13..P17
outputs P12 P18 P19
P12 = P3 & P4
register P18
  `+rules+`
P19 = !P18 | P5
`), map[int]bool{13: true, 14: true, 15: false, 16: false, 17: false})
		require.NoError(t, err)
		require.NotNil(t, table, "%v", r)
		for _, o := range table.Outputs {
			require.Equal(t, o.Pin == 12, o.Combinational(), "pin %d, %s", o.Pin, rules)
		}
		require.Equal(t, []string{"O12 = I3 & I4", "# pin 18 is no function of the inputs alone", "# pin 19 is no function of the inputs alone"}, table.Equations())
		require.Contains(t, strings.Join(table.Notes, "\n"), "hold state or depend on a released pin: 18, 19")
	}
}

// A pin that drives only while others that are inputs too stand in a certain way meets the
// adapter's level as it is driven. It is left alone then, and named.
func TestAPinThatIsBothIsLeftToTheChip(t *testing.T) {
	const both = `inputs P1..P5 P14 P15
tie low P6..P9 P11
bidirectional P13
outputs P12 P16..P19
P12 = P1 & P13
P13 = P14 & !P15 ? P2 : z
P16 = P3
P17 = P4
P18 = P5
P19 = P14 & P15
`
	table, r, err := read(t, "GAL16V8", strings.Replace(chip20(both), "74LS", "74HCT", 1), nil)
	require.NoError(t, err)
	require.NotNil(t, table, "%v", r)
	require.NotContains(t, table.Inputs, 13)
	require.Contains(t, table.Inputs, 14)
	require.Contains(t, strings.Join(table.Notes, "\n"), "pin 13 is an output at some combinations of the other pins and an input at others")
	require.Contains(t, table.Equations(), "O19 = I14 & I15")
}

// The combinational outputs of a device with registers are read without a clock, and what
// is not covered is said.
func TestRegistersAreNotClocked(t *testing.T) {
	definition := chip20(`inputs P1..P6 P11 P12
tie low P7..P9
outputs P13 P18 P19
outputs three-state P14..P17
register q[1]
  on rise P1 : P2
P14 = P11 ? z : !q
P15 = P11 ? z : !q
P16 = P11 ? z : q
P17 = P11 ? z : q
P13 = P2 & P3 | P12
P18 = P4
P19 = P5 ^ P6
`)
	table, r, err := read(t, "16R4", definition, nil)
	require.NoError(t, err)
	require.NotNil(t, table, "%v", r)
	require.Equal(t, []string{"O13 = I2 & I3 | I12", "O18 = I4", "O19 = I5 ^ I6"}, table.Equations())
	require.Contains(t, strings.Join(table.Notes, "\n"), "the 4 registered outputs are not covered")
	_, err = pal.Find("16R8")
	require.ErrorContains(t, err, "all outputs of a 16R8 are registered")
}

// What is seated wrong is not powered, and no table comes of it.
func TestAChipThatIsSeatedWrongIsNotRead(t *testing.T) {
	table, r, err := read(t, "16L8", chip20(decoder), nil, "reversed")
	require.NoError(t, err)
	require.Nil(t, table)
	require.Equal(t, assay.NotTested, r.Verdict)
}

// A table is written and read back, and another one compared with it.
func TestTablesAreKeptAndCompared(t *testing.T) {
	held := map[int]bool{13: false, 14: false, 17: true}
	table, _, err := read(t, "16L8", chip20(decoder), held)
	require.NoError(t, err)
	var b bytes.Buffer
	require.NoError(t, table.Write(&b))
	back, err := pal.Parse(strings.NewReader(b.String()))
	require.NoError(t, err)
	require.Equal(t, table.Inputs, back.Inputs)
	require.Equal(t, table.Outputs, back.Outputs)
	require.Equal(t, held, back.Held)
	require.Empty(t, table.Compare(back))

	other, _, err := read(t, "16L8", chip20(strings.Replace(decoder, "P18 = !(P5 | P6)", "P18 = !(P5 & P6)", 1)), held)
	require.NoError(t, err)
	require.Equal(t, []string{"pin 18 differs at 512 of 1024 combinations, first at 1=L 2=L 3=L 4=L 5=H 6=L 7=L 8=L 9=L 11=L: H, not L"}, other.Compare(table))

	for old, want := range map[string]string{
		"LHLLLLLLLL ": "is no row", "outputs 12": "is no pin", "held 13 L": "write held",
	} {
		require.Contains(t, b.String(), old)
		_, err := pal.Parse(strings.NewReader(strings.Replace(b.String(), old, strings.Replace(old, "12", "x", 1)[:len(old)-2], 1)))
		require.Error(t, err, want)
	}
	_, err = pal.Parse(strings.NewReader(b.String()[:b.Len()/2]))
	require.Error(t, err)
}

// The devices as their data books draw them (from memory): as many inputs and outputs as the
// number says, no pin twice, and the supplies at the corners.
func TestDevicesHaveTheirNumbersPins(t *testing.T) {
	for _, number := range pal.Numbers() {
		d, err := pal.Find("PAL" + number + "CN")
		if strings.HasSuffix(number, "R8") {
			require.Error(t, err)
			continue
		}
		require.NoError(t, err)
		require.Equal(t, number, d.Number)
		seen := map[int]int{}
		for _, list := range [][]int{d.Inputs, d.Outputs, d.Either, d.Registered, {d.Clock}, {d.Disable}} {
			for _, p := range list {
				seen[p]++
			}
		}
		for p := 1; p <= d.Pins; p++ {
			want := 1
			if p == d.Pins || p == d.Pins/2 {
				want = 0
			}
			require.Equal(t, want, seen[p], "%s pin %d", number, p)
		}
		var inputs, outputs int
		var kind string
		_, err = fmt.Sscanf(strings.NewReplacer("H", " H ", "L", " L ", "R", " R ", "V", " V ", "C", " C ").Replace(number), "%d %s %d", &inputs, &kind, &outputs)
		require.NoError(t, err)
		switch kind {
		case "H", "L":
			feedback := len(d.Either)
			if len(d.Inputs)+feedback != inputs {
				require.Contains(t, []string{"16L8", "20L8", "20L10"}, number)
			}
			require.Equal(t, outputs, len(d.Outputs)+len(d.Either), number)
		case "R":
			require.Len(t, d.Registered, outputs, number)
		case "V":
			require.Len(t, d.Either, outputs, number)
		}
	}
	_, err := pal.Find("7400")
	require.ErrorContains(t, err, "no programmable logic 7400")
}
