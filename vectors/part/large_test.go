package part_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chipassay/vectors/part"
)

// tables defines a part of 20 inputs I0..I19 and 4 outputs with function tables; a
// fifth output depends on every input, so that none is without effect.
func tables(texts ...string) string {
	var b strings.Builder
	b.WriteString("part 7499 \"tables\"\nkind decoder\nfamilies 74\nsource \"from memory\"\npackage DIP28\n")
	left := strings.Fields("I0 I1 I2 I3 I4 I5 I6 I7 I8 I9 Y0 Y1 P GND")
	right := strings.Fields("VCC I10 I11 I12 I13 I14 I15 I16 I17 I18 I19 Y2 Y3 NC")
	for i := range left {
		fmt.Fprintf(&b, "%s %d | | %d %s\n", left[i], i+1, 28-i, right[i])
	}
	b.WriteString("inputs I0..I19\noutputs Y0..Y3 P\nbus I = I19..I0\nP = parity(I)\n")
	for _, text := range texts {
		b.WriteString(text)
	}
	return b.String()
}

// alike is a table of a number of rows that are all the same.
func alike(rows int, outputs ...string) string {
	return "table\nI0 | " + strings.Join(outputs, " ") + "\n" + strings.Repeat("X | "+strings.Repeat("L ", len(outputs))+"\n", rows)
}

// wide is a table of two rows that differ in the last of their columns: all
// combinations of the others must be looked at to see that they cover everything.
func wide(inputs int) string {
	names := make([]string, inputs)
	for i := range names {
		names[i] = fmt.Sprintf("I%d", i)
	}
	any := strings.Repeat("X ", inputs-1)
	return "table\n" + strings.Join(names, " ") + " | Y3\n" + any + "H | L\n" + any + "L | H\n"
}

// To check a function table takes the square of its rows for each output, and the
// combinations that its rows cover: two million in one file is the limit (lex.go).
func TestTablesThatAreTooLargeToCheck(t *testing.T) {
	rest := func(outputs string) string {
		return "Y" + strings.Join(strings.Split(outputs, ""), " = 0\nY") + " = 0\n"
	}
	for name, c := range map[string]struct {
		text string
		good bool
	}{
		"1400 rows of an output":          {tables(alike(1400, "Y0"), rest("123")), true},  // 1.96 million
		"1420 rows of an output":          {tables(alike(1420, "Y0"), rest("123")), false}, // 2.02 million
		"700 rows of four":                {tables(alike(700, "Y0", "Y1", "Y2", "Y3")), true},
		"710 rows of four":                {tables(alike(710, "Y0", "Y1", "Y2", "Y3")), false},
		"two tables of 990 rows":          {tables(alike(990, "Y0"), alike(990, "Y1"), rest("23")), true},
		"two tables of 1010 rows":         {tables(alike(1010, "Y0"), alike(1010, "Y1"), rest("23")), false},
		"two rows of 18 columns":          {tables(wide(18), rest("012")), true},  // 2^18 places in the search, 3 and 1 or 2
		"two rows of 20 columns":          {tables(wide(20), rest("012")), false}, // four times as many
		"rows and columns, each half way": {tables(alike(1200, "Y0"), wide(18), rest("12")), false},
	} {
		parts, err := part.Parse("large.part", c.text)
		if c.good {
			require.NoError(t, err, name)
			require.Len(t, parts, 1, name)
			continue
		}
		require.ErrorContains(t, err, "the file's function tables are too large to check: split them, or write equations", name)
	}
}

// The limits on a definition, each at its last value and one past it (lex.go,
// memorystatements.go).
func TestLimitsOfADefinition(t *testing.T) {
	equation := func(value string) string { return strings.Replace(inverter, "!#A", value, 1) }
	registers := func(n int) string {
		var text strings.Builder
		for i := range n {
			fmt.Fprintf(&text, "register r%d[64]\n    on rise 1A : r%d + 1\n", i, i)
		}
		return strings.Replace(inverter, "gate 1..6", text.String()+"gate 1..6", 1)
	}
	statements := func(n int) string {
		var text strings.Builder
		for i := range n {
			fmt.Fprintf(&text, "s%d = 1A\n", i)
		}
		return strings.Replace(inverter, "gate 1..6", text.String()+"gate 1..6", 1)
	}
	gates := func(n int) string {
		var text strings.Builder
		for i := range 32 {
			fmt.Fprintf(&text, "    #S%d = 1A\n", i)
		}
		return inverter + fmt.Sprintf("gate 101..%d\n", 100+n) + text.String()
	}
	memory := func(old, new string) string {
		require.Contains(t, staticRAM, old)
		return strings.Replace(staticRAM, old, new, 1)
	}
	const words = "the words are a power of two from 2 to 1048576"
	for _, c := range []struct{ name, text, unlike, want string }{
		{"62 brackets", equation(strings.Repeat("(", 62) + "#A" + strings.Repeat(")", 62)), "", ""},
		{"65 brackets", equation(strings.Repeat("(", 65) + "#A" + strings.Repeat(")", 65)), "", "nested more than 64 deep"},
		{"62 inversions", equation(strings.Repeat("!", 62) + "#A"), "", ""},
		{"65 inversions", equation(strings.Repeat("!", 65) + "#A"), "", "more than 64 operators in a row"},
		{"63 registers of 64 bits", registers(63), "", ""},
		{"65 registers of 64 bits", registers(65), "", "more than 4096 inner bits"},
		{"1950 statements", statements(1950), "", ""},
		{"2000 statements, and the inverter's", statements(2000), "", "has more than 2000 statements"},
		{"62 gates of 32 statements", gates(62), "", ""},
		{"63 gates of 32 statements", gates(63), "", "63 gates of 32 statements are more than 2000"},
		{"64 KiB", inverter + "#" + strings.Repeat(" ", 64<<10-len(inverter)-1), "", ""},
		{"64 KiB and a byte", inverter + "#" + strings.Repeat(" ", 64<<10-len(inverter)), "", "may have 65536 bytes, this one has 65537"},
		{"a range of 64", strings.Replace(inverter, "1A..6A", "1A..64A", 1), "the range", "no pin 7A"},
		{"a range of 65", strings.Replace(inverter, "1A..6A", "1A..65A", 1), "", "the range 1A..65A has more than 64 names"},
		{"2^20 words", memory("static 1024", "static 1048576"), words, "1048576 words need 20 address pins"},
		{"2^21 words", memory("static 1024", "static 2097152"), "", words},
		{"16 bits a word", memory("static 1024 x 4", "static 1024 x 16"), "1 to 16 bits", "a word has 16 bits"},
		{"17 bits a word", memory("static 1024 x 4", "static 1024 x 17"), "", "a word has 1 to 16 bits"},
		{"a second", memory("access 450 ns", "access 1000 ms"), "", ""},
		{"more than a second", memory("access 450 ns", "access 1001 ms"), "", "of at most 1s"},
	} {
		_, err := part.Parse("ram.part", c.text)
		if c.want == "" {
			require.NoError(t, err, c.name)
			continue
		}
		require.ErrorContains(t, err, c.want, c.name)
		if c.unlike != "" {
			require.NotContains(t, err.Error(), c.unlike, c.name)
		}
	}
}

// A range counts the whole number in which its names differ, though its first
// digits be the same.
func TestRangesOfSeveralDigits(t *testing.T) {
	parts, err := part.Parse("ten.part", `part 7499 "ten"
kind gate
families 74
source "from memory"
package DIP14
    A10  1 | U | 14 VCC
     A9  2 |   | 13 Y
     A8  3 |   | 12 A1
     A7  4 |   | 11 A2
     A6  5 |   | 10 A3
     A5  6 |   | 9  A4
    GND  7 |   | 8  NC
inputs A1..A10
outputs Y
bus A = A10..A1
Y = all(A)
`)
	require.NoError(t, err)
	require.Equal(t, part.Input, parts[0].Variants[0].Pin("A10").Role)
	require.Equal(t, part.Input, parts[0].Variants[0].Pin("A9").Role)
}
